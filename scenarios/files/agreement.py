"""What one file alone cannot show: whether lift, settings and scenario fit each other."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from scenarios.build_motor import motor_constants
from scenarios.catalogue import ContradictionError
from scenarios.files.fault_agreement import fault_complaints
from scenarios.files.lift import Lift
from scenarios.files.lines import Path
from scenarios.files.scenario import ScenarioFile
from scenarios.files.settings import Settings
from scenarios.files.slips import did_you_mean

__all__ = ["lift_complaints", "scenario_complaints"]

SHORTEST_TIME_CONSTANT = 10e-6
"""s; twice the smallest sub-step."""

Finding = tuple[Path, str]


def lift_complaints(lift: Lift) -> Iterator[Finding]:
    """Contradictions inside a lift: path of the key and what is wrong."""
    supply = lift.supply
    charging = supply.resistance_ohm * supply.capacitance_mf * 1e-3
    if 0.0 < charging < SHORTEST_TIME_CONSTANT:
        yield (
            ("supply", "capacitance_mf"),
            f"supply.capacitance_mf = {supply.capacitance_mf:g}: with resistance_ohm = {supply.resistance_ohm:g} it charges in "
            f"{charging * 1e6:.2g} us, must be {SHORTEST_TIME_CONSTANT * 1e6:g} us or more (is this in F?)",
        )
    for i, leg in enumerate(lift.leg):
        motor: Path = ("leg", i, "motor")
        try:
            constants = motor_constants(leg.motor)
        except ContradictionError as error:
            where: Path = (*motor, "catalogue") if leg.motor.catalogue else motor
            yield where, f"leg {leg.name}: motor: {error}"
            continue
        slope = constants.resistance + leg.motor.brush_drop_v / leg.motor.brush_current_a + leg.bridge.resistance_mohm * 1e-3
        time_constant = leg.motor.inductance_mh * 1e-3 / slope
        if time_constant < SHORTEST_TIME_CONSTANT:
            yield (
                (*motor, "inductance_mh"),
                f"leg {leg.name}: motor.inductance_mh = {leg.motor.inductance_mh:g}: with the resistance and the brush drop the current "
                f"settles in {time_constant * 1e6:.2g} us, must be {SHORTEST_TIME_CONSTANT * 1e6:g} us or more (is this in H?)",
            )
        if leg.spindle.collar_friction > 0 and leg.spindle.collar_diameter_mm == 0:
            yield (*motor[:2], "spindle", "collar_friction"), f"leg {leg.name}: spindle.collar_friction needs collar_diameter_mm"
        travel = leg.stops.high_mm - leg.stops.low_mm
        if leg.guide.overlap_loss * travel >= leg.guide.overlap_mm:
            yield (*motor[:2], "guide", "overlap_loss"), f"leg {leg.name}: guide.overlap_loss leaves no overlap at the upper stop"


def scenario_complaints(file: ScenarioFile, lift: Lift, settings: Settings) -> Iterator[Finding]:
    """What does not fit between the three files: path of the key in the scenario file and what is wrong."""
    yield from _start(file, lift)
    yield from fault_complaints(file, lift)
    tables: dict[str, Iterable[str]] = {
        "homing.offsets_mm": settings.homing.offsets_mm,
        "learnt": settings.learnt,
        "levelling.places_mm": settings.levelling.places_mm,
    }
    named = [(f"{table}.{name}", name) for table, names in tables.items() for name in names]
    leader = settings.levelling.leader
    for key, name in [*named, *([] if leader is None else [(f'levelling.leader = "{leader}"', leader)])]:
        if name not in lift.names:
            yield ("settings",), f"settings {key}: there is no such leg{did_you_mean(name, lift.names)}"
    if settings.plausibility.vote and any(leg.detector.kind != "both" for leg in lift.leg):
        yield ("settings",), 'settings plausibility.vote = true: needs a second channel, detector.kind = "both" in the lift file'
    guard_us = settings.timing.guard_tick_ms * 1e3
    if file.sub_step_us is not None and abs(guard_us / file.sub_step_us - round(guard_us / file.sub_step_us)) > 1e-9:
        yield ("sub_step_us",), f"sub_step_us = {file.sub_step_us}: must divide the guard tick of {guard_us:g} us without remainder"
    if lift.sensing.sample_lead_us > guard_us:
        lead = lift.sensing.sample_lead_us
        yield ("lift",), f"lift sensing.sample_lead_us = {lead:g}: must not exceed the guard tick of {guard_us:g} us"


def _start(file: ScenarioFile, lift: Lift) -> Iterator[Finding]:
    """Whether every leg starts between its stops."""
    heights = file.start.heights_mm
    key: Path = ("start", "height_mm" if heights is None else "heights_mm")
    if heights is not None and set(heights) != set(lift.names):
        for name in heights:
            if name not in lift.names:
                yield (*key, name), f"start.heights_mm.{name}: there is no such leg{did_you_mean(name, lift.names)}"
        for name in lift.names:
            if name not in heights:
                yield key, f"start.heights_mm.{name}: is missing"
        return
    for leg in lift.leg:
        height = file.start.height_mm if heights is None else heights[leg.name]
        assert height is not None
        if not leg.stops.low_mm - 2.0 <= height <= leg.stops.high_mm + 2.0:
            which = key if heights is None else (*key, leg.name)
            yield (
                which,
                f"{'.'.join(map(str, which))} = {height:g}: must be {leg.stops.low_mm:g} to {leg.stops.high_mm:g} mm, "
                f"between the stops of leg {leg.name}",
            )
