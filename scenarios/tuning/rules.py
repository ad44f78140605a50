"""A first guess by rules: each value with the formula it comes from and the figure that binds it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import isfinite

from scenarios.build import build_rig
from scenarios.files.settings import Settings
from scenarios.files.tuning import Choices
from scenarios.operating_point import Condition, NoSteadyMotionError, lift_model, operating_point
from scenarios.tuning.linear import Linear
from scenarios.tuning.plan import Plan, with_settings
from sync.design.rules import droop, duty_headroom
from sync.loop import gain_without_overshoot, integral_without_overshoot, loop_delay

__all__ = ["FirstGuess", "LoopFigures", "Rule", "first_guess", "loop_figures"]

HALVINGS = 12


@dataclass(frozen=True)
class LoopFigures:
    """What the rules start from, SI: Kv [m/s], tau_m [s], Td [s], speed [m/s], light to full speed difference [m/s], count period [s]."""

    speed_per_duty: float
    time_constant: float
    delay: float
    speed: float
    difference: float
    period: float


@dataclass(frozen=True)
class Rule:
    """One value: key, value, the formula with its numbers, and what binds."""

    key: str
    value: float
    formula: str
    binds: str


@dataclass(frozen=True)
class FirstGuess:
    """Values of the searched keys, how each was found, and what the rules say besides."""

    values: dict[str, float]
    rules: tuple[Rule, ...]
    notes: tuple[str, ...]


def loop_figures(plan: Plan, settings: Settings) -> LoopFigures:
    """Figures of the fastest leg while raising, light and full.

    Raises
    ------
    NoSteadyMotionError
        If the lift does not move steadily with the light and with the full load.
    """
    scenario = plan.rehearsals[0]
    rig = build_rig(scenario)[0]
    deck, n = scenario.lift.deck, len(scenario.lift.leg)
    speeds, rates, lags = [], [], []
    for load in (deck.light_payload_kg, deck.rated_payload_kg):
        condition = Condition(loads=tuple((deck.mass_kg + load) / n for _ in range(n)))
        point = operating_point(rig["world"], rig["settings"], condition)
        speeds.append(point.speed)
        for leg in lift_model(rig["world"], point).legs:
            stiff = leg.torque_constant**2 + leg.resistance * leg.damping
            rates.append(leg.volts_per_duty * leg.torque_constant / stiff * leg.travel_per_radian)
            lags.append(leg.inertia * leg.resistance / stiff)
    period = 1.0 / (max(speeds) * float(rig["settings"]["legs"][0]["counts_per_metre"]))
    timing = settings.timing
    delay = loop_delay(timing.tick_ms * 1e-3, timing.compute_delay_us * 1e-6, period)
    return LoopFigures(max(rates), max(lags), delay, max(speeds), abs(speeds[0] - speeds[1]), period)


def _largest(fits: Callable[[float], bool], low: float, high: float) -> float:
    """Largest value that fits, by halving; ``low`` if none does."""
    if fits(high):
        return high
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if fits(middle) else (low, middle)
    return low


def _tick(plan: Plan, figures: LoopFigures) -> Rule:
    span = plan.search["timing.tick_ms"]
    values = sorted(span.of if isinstance(span, Choices) else span)
    most = 0.5e3 * figures.time_constant
    fitting = [value for value in values if value <= most]
    value = fitting[-1] if fitting else values[0]
    told = f"tick <= tau_m/2 = {most:.1f} ms: then the tick is not the largest delay of the loop"
    return Rule("timing.tick_ms", value, told, "the longest tick allowed" if value == values[-1] else "mechanical time constant")


def _gain(plan: Plan, linear: Linear, settings: Settings, figures: LoopFigures) -> Rule:
    """The smallest of three: no overshoot, gain margin, sensitivity peak; the last two at the worst corner."""
    target = plan.targets
    smooth = 1e-3 * gain_without_overshoot(figures.speed_per_duty, figures.time_constant, figures.delay)
    told = (
        f"2 Kc Kv = 1/(4 (tau_m + Td)) with Kv {1e3 * figures.speed_per_duty:.1f} mm/s, tau_m {1e3 * figures.time_constant:.1f} ms, "
        f"Td {1e3 * figures.delay:.1f} ms: {smooth:.3f} per mm"
    )

    def fits(gain: float) -> bool:
        ki = 1e-3 * integral_without_overshoot(1e3 * gain, figures.speed_per_duty)
        found = linear.figures(with_settings(settings, {"levelling.kc_per_mm": gain, "levelling.ki_per_mm_s": ki}), quick=True)
        if found.why:
            return True
        return found.stable and found.gain >= target.gain_margin and found.sensitivity <= target.sensitivity

    value = _largest(fits, 0.0, smooth)
    if value == smooth:
        return Rule("levelling.kc_per_mm", value, told, "no overshoot of the differential loop")
    bound = f"gain margin {target.gain_margin:g} or sensitivity {target.sensitivity:g} at the worst corner: {value:.3f} per mm"
    return Rule("levelling.kc_per_mm", value, told, bound)


def _ramps(plan: Plan, figures: LoopFigures, gain: float) -> list[Rule]:
    """Soft start, ramp into the slow-down and its distance, from the settling time of the loop."""
    bandwidth = 2.0 * gain * 1e3 * figures.speed_per_duty
    settle = 4.0 / bandwidth
    slow = figures.speed - (plan.settings.speed.base_duty - plan.settings.speed.slow_duty) * figures.speed_per_duty
    slow = max(slow, 0.1 * figures.speed)
    way = 0.5 * (figures.speed + slow) * settle + slow * settle
    told = f"4/(2 Kc Kv) = {1e3 * settle:.0f} ms, four time constants of the differential loop"
    return [
        Rule("speed.soft_start_ms", 1e3 * settle, told, "settling of the loop"),
        Rule("speed.slow_ramp_ms", 1e3 * settle, told, "settling of the loop"),
        Rule(
            "speed.slow_down_mm",
            1e3 * way,
            f"ramp from {1e3 * figures.speed:.1f} to {1e3 * slow:.1f} mm/s and one settling time at the slow speed",
            "settling of the loop before the cut",
        ),
    ]


def _fitted(plan: Plan, rule: Rule) -> Rule:
    """The rule with its value inside the search."""
    span = plan.search[rule.key]
    inside = min(span.of, key=lambda one: abs(one - rule.value)) if isinstance(span, Choices) else min(max(rule.value, span[0]), span[1])
    value = float(f"{inside:.4g}")
    clipped = abs(value - rule.value) > 1e-3 * abs(rule.value)
    return Rule(rule.key, value, rule.formula, "the end of the search" if clipped and not isinstance(span, Choices) else rule.binds)


def first_guess(plan: Plan, linear: Linear) -> FirstGuess:
    """First guess for the searched keys; those without a rule stay as they are.

    Source: no overshoot and real roots as in ``sync.loop``; settling as four time constants, common practice.
    """
    values = plan.start()
    rules: list[Rule] = []

    def take(rule: Rule) -> float:
        if rule.key not in plan.search:
            return float(values.get(rule.key, rule.value))
        fitted = _fitted(plan, rule)
        rules.append(fitted)
        values[rule.key] = fitted.value
        return fitted.value

    try:
        figures = loop_figures(plan, plan.settings)
        if "timing.tick_ms" in plan.search:
            take(_tick(plan, figures))
            figures = loop_figures(plan, with_settings(plan.settings, values))
    except NoSteadyMotionError as error:
        return FirstGuess(values, (), (f"no rule applies: {error}",))
    gain = take(_gain(plan, linear, with_settings(plan.settings, values), figures))
    integral = 1e-3 * integral_without_overshoot(1e3 * gain, figures.speed_per_duty)
    take(Rule("levelling.ki_per_mm_s", integral, f"Kc^2 Kv/2 = {integral:.3f} per mm and s", "real roots of the slow pair"))
    for rule in _ramps(plan, figures, max(gain, 1e-3)):
        take(rule)
    return FirstGuess(values, tuple(rules), _notes(plan, figures, gain))


def _notes(plan: Plan, figures: LoopFigures, gain: float) -> tuple[str, ...]:
    """Droop without an integral, and the headroom the base duty leaves."""
    left = 1e3 * droop(figures.difference, max(1e3 * gain, 1e-3), figures.speed_per_duty)
    most = duty_headroom(figures.difference, figures.speed_per_duty, plan.targets.headroom)
    base = plan.settings.speed.base_duty
    word = "keeps" if base <= most else "DOES NOT KEEP"
    period = f"count period {1e3 * figures.period:.2f} ms"
    notes = [
        f"light against full leg: {1e3 * figures.difference:.2f} mm/s apart; without an integral Kc leaves dv/(2 Kc Kv) = {left:.2f} mm",
        f"base duty {base:g} {word} the slower leg controllable: at most 1 - (dv/2)/Kv - {plan.targets.headroom:g} = {most:.3f}",
        f"loop: Td {1e3 * figures.delay:.1f} ms = tick/2 + output delay + half a {period}",
    ]
    return tuple(note for note in notes if isfinite(left))
