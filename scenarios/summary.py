"""What is known after a rehearsal: plain frozen dataclasses in the units an engineer reads.

They hold numbers, names and sentences only, so that limits, verdicts, budgets, figures and reports need neither the plant
nor the controller.  A value that was not reached is ``None``, never zero.  Field names carry their unit.
"""

from __future__ import annotations

from dataclasses import dataclass, field

__all__ = [
    "Conduct",
    "ContactResult",
    "Controller",
    "DeckView",
    "Energy",
    "Event",
    "Extreme",
    "LegResult",
    "Level",
    "MoveResult",
    "RunSummary",
]


@dataclass(frozen=True)
class Level:
    """Level error of one move: highest minus lowest true height of the deck joints [mm]."""

    peak_mm: float | None
    """Largest until the last leg was switched off."""
    rms_mm: float | None
    at_cut_mm: float | None
    """When the first leg was switched off for the target."""
    after_coast_mm: float | None
    seen_peak_mm: float | None
    """Largest as the controller counted it."""
    high_leg: str | None
    low_leg: str | None


@dataclass(frozen=True)
class LegResult:
    """One leg in one move.

    Run values are means over the last second before slow-down or cut; coast values go from power-off to standstill, true.
    """

    name: str
    height_mm: float | None
    true_counts: int
    heard_counts: int
    missed: int
    extra: int
    run_speed_mm_s: float | None
    run_current_a: float | None
    peak_current_a: float | None
    coast_s: float | None
    coast_mm: float | None
    coast_counts: int | None
    counted_mm: float | None = None
    """Height as the controller counts it, at the end."""
    error_mm: float | None = None
    """True minus counted height, at the end."""
    target_error_mm: float | None = None
    """True height minus target, at the end of a move that has a target."""
    coast_told_mm: float | None = None
    """Coast the controller predicted when it cut this leg."""
    start_height_mm: float | None = None
    play_mm: float = 0.0
    sag_mm: float = 0.0
    hall_counts: int = 0
    switch_offs: int = 0
    peak_current_s: float | None = None
    """When the largest current flowed, to the tick."""


@dataclass(frozen=True)
class MoveResult:
    """One scored move."""

    number: int
    kind: str
    """``go``, ``press``, ``home`` or ``drive`` (the script held the bridges)."""
    direction: int
    goal_mm: float | None
    start_s: float
    end_s: float | None
    """At rest again; ``None``: not reached."""
    level: Level
    legs: tuple[LegResult, ...]
    peak_s: float | None = None
    first_off_s: float | None = None
    last_off_s: float | None = None
    start_peak_mm: float = 0.0
    """Largest true level error in the first half second."""
    mean_seen_mm: float = 0.0
    """Mean counted level error over the run."""
    tilt_deg: float | None = None
    tilt_x_rad: float = 0.0
    tilt_y_rad: float = 0.0
    tilt_s: float | None = None
    """When the worst tilt was met, to one row of the trace."""
    warp_mm: float | None = None
    warp_s: float | None = None
    supply_min_v: float | None = None
    run_from_s: float | None = None
    run_to_s: float | None = None
    cut_speed_mm_s: float | None = None
    """Mean speed of the legs when the first of them was switched off."""

    @property
    def is_homing(self) -> bool:
        """Whether the move was a homing."""
        return self.kind == "home"


@dataclass(frozen=True)
class Energy:
    """Energy balance of the whole rehearsal [J]; ``residual`` is relative to ``in_j``, ``None`` where nothing was drawn."""

    in_j: float
    heat_j: float
    work_j: float
    stored_j: float
    residual: float | None
    heat_parts_j: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Event:
    """One line of the log, in words."""

    t_s: float
    what: str
    leg: str | None
    text: str
    value: float
    word: str = ""
    """Short name of what the controller reported, as ``must_report`` names it; empty for all else."""


@dataclass(frozen=True)
class Extreme:
    """An extreme of a signal: its value, when it was met [s] and on which leg; ``None`` where that is not known."""

    value: float
    at_s: float | None = None
    leg: str | None = None


@dataclass(frozen=True)
class Controller:
    """Where the controller ended."""

    mode: str
    mode_text: str
    reason: str | None
    """``None``: no fault."""
    reason_text: str = ""
    remedy: str = ""


@dataclass(frozen=True)
class Conduct:
    """How the controller conducted itself; ``None`` where there was no occasion."""

    stop_mm: Extreme | None = None
    """Longest way gone on after a release or a guard's decision; the time is that of the order."""
    stop_s: Extreme | None = None
    """Longest time until no leg went on."""
    stopping: bool = False
    """Whether a leg still went on at the end."""
    retreat_mm: Extreme | None = None
    """Least way back after a pinch."""
    powered_s: float | None = None
    """Time with a driving bridge while faulted."""
    crept_mm: Extreme | None = None
    """Largest motion after coming to rest while faulted."""
    made_up: Extreme | None = None
    """Counts inserted on legs that did not turn."""
    tilt_about_x_deg: Extreme | None = None
    """Largest slope along y while moving, homings left out."""
    tilt_about_y_deg: Extreme | None = None
    """Largest slope along x."""
    unflagged_mm: Extreme | None = None
    """Largest level error while moving and while the controller did not ask to be homed."""
    logic_min_v: float | None = None
    """Lowest voltage of the logic; ``None``: its power never fails in this lift."""
    logic_down_s: float | None = None
    """Time that the logic was without power."""


@dataclass(frozen=True)
class ContactResult:
    """One obstacle at the deck."""

    point: str
    """Where, as it is told: ``above (x, y) mm``."""
    stiffness_n_mm: float
    attempts: int
    """Separate times that the deck came against it."""
    touch_s: float | None
    peak_n: float
    peak_s: float | None
    first_peak_n: float
    """Of the first attempt."""
    late_peak_n: float
    late_s: float | None
    last_peak_n: float
    last_s: float | None
    force_n: float
    """Where the rehearsal ended."""
    late_after_s: float
    last_after_s: float
    pressed_s: float | None = None
    """How long the deck had been pressing when the rehearsal ended; ``None``: it had let go."""


@dataclass(frozen=True)
class DeckView:
    """Deck joints at one instant, ``x``, ``y`` and ``z`` one entry per leg [mm]."""

    names: tuple[str, ...]
    x_mm: tuple[float, ...]
    y_mm: tuple[float, ...]
    z_mm: tuple[float, ...]
    at_s: float
    tilt_deg: float
    payload_kg: float = 0.0
    payload_mm: tuple[float, float] = (0.0, 0.0)

    @property
    def off_level_mm(self) -> tuple[float, ...]:
        """Height of each joint above the mean of all [mm]."""
        mean = sum(self.z_mm) / len(self.z_mm)
        return tuple(z - mean for z in self.z_mm)

    @property
    def reach_mm(self) -> float:
        """Larger side of the plan, at least 100 mm."""
        return max(max(self.x_mm) - min(self.x_mm), max(self.y_mm) - min(self.y_mm), 100.0)


@dataclass(frozen=True)
class RunSummary:
    """Everything the limits, the budget and the report need of one rehearsal."""

    names: tuple[str, ...]
    simulated_s: float
    moves: tuple[MoveResult, ...]
    energy: Energy
    events: tuple[Event, ...]
    controller: Controller
    hottest: Extreme | None = None
    """Hottest winding [deg C]."""
    hardest_stop: Extreme | None = None
    """Largest force of an end stop [N], to a tick; ``None``: no stop was met."""
    lowest_supply: Extreme | None = None
    """Lowest supply voltage [V]."""
    final_errors_mm: tuple[float, ...] = ()
    """True minus counted height of each leg at the end of the rehearsal [mm]."""
    diverged: Extreme | None = None
    """Set when a number stopped being finite: time and leg."""
    absent: tuple[str, ...] = ()
    """Faults that never came, in words."""
    events_dropped: int = 0
    """Events that did not fit into the log."""
    conduct: Conduct = Conduct()
    contacts: tuple[ContactResult, ...] = ()
    """Obstacles of the rehearsal, in the order they came."""
    fault_s: float | None = None
    """When the first fault of the script came; ``None``: none has."""
