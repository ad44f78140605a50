"""``[limits]`` of a lift or scenario file: a number, or a table with value, id and source; in a scenario also words."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from scenarios.files.fields import Table, quantity
from scenarios.files.slips import did_you_mean
from scenarios.limits import LIMITS, LimitEntry

__all__ = ["LimitValue", "Limits", "ScenarioLimits", "late_times", "limit_entries"]

Ending = Literal["unreferenced", "ready", "faulted"]


class LimitValue(Table):
    """A limit with what it answers to."""

    value: float = Field(ge=0, le=1e4, description="The limit, in the unit of the key.")
    id: str = Field(default="", max_length=200, description="Number of the requirement.")
    source: str = Field(default="", max_length=500, description="Where the limit comes from: standard and clause, or risk assessment.")


def _wrapped(given: Any) -> Any:
    if isinstance(given, int | float) and not isinstance(given, bool):
        return {"value": given}
    return given


class LateValue(LimitValue):
    """A limit on a force that holds from some time after the touch."""

    after_s: float | None = quantity(0.05, 60, "From this time after the touch on; left out: 0.75 s late, 5 s last.", None)


Late = Annotated[LateValue | None, BeforeValidator(_wrapped, json_schema_input_type=float | LateValue)]
Limit = Annotated[LimitValue | None, BeforeValidator(_wrapped, json_schema_input_type=float | LimitValue)]


class Limits(Table):
    """Limits on the true machine; upper limits, except that supply, logic and retreat must not fall below their own."""

    level_moving_mm: Limit = None
    level_after_coast_mm: Limit = None
    target_error_mm: Limit = None
    overshoot_mm: Limit = None
    peak_current_a: Limit = None
    move_time_s: Limit = None
    position_error_mm: Limit = None
    winding_c: Limit = None
    supply_min_v: Limit = None
    tilt_deg: Limit = None
    tilt_about_x_deg: Limit = None
    tilt_about_y_deg: Limit = None
    warp_mm: Limit = None
    energy_residual: Limit = None
    homing_level_mm: Limit = None
    homing_repeat_mm: Limit = None
    stop_mm: Limit = None
    stop_s: Limit = None
    retreat_mm: Limit = None
    faulted_powered_s: Limit = None
    faulted_motion_mm: Limit = None
    stall_insertions: Limit = None
    false_trips: Limit = None
    drift_flag_before_mm: Limit = None
    logic_min_v: Limit = None
    logic_down_s: Limit = None
    pinch_peak_n: Limit = None
    pinch_late_n: Late = None
    pinch_last_n: Late = None
    pinch_reversal_n: Limit = None
    end_stop_n: Limit = None


def _reportable() -> list[str]:
    from scenarios.happenings import REPORTED_FROM, word_of
    from scenarios.rig import Happening
    from sync.modes import Reason

    return [word_of(one) for one in (*Reason, *Happening) if one is not Reason.NONE and (isinstance(one, Reason) or one >= REPORTED_FROM)]


class ScenarioLimits(Limits):
    """Limits of a rehearsal: those of a lift, and what the controller must report and how it must end."""

    must_report: tuple[str, ...] = Field(
        default=(),
        max_length=8,
        description="What the controller must report at some time: reasons of guards and refusals, drift. Reports named here are no gap.",
    )
    ends_as: Ending | None = Field(default=None, description="Mode in which the controller must end.")

    @model_validator(mode="after")
    def _words_exist(self) -> Self:
        known = _reportable() if self.must_report else []
        for word in self.must_report:
            if word not in known:
                raise ValueError(f'must_report: "{word}": nothing of that name is ever reported{did_you_mean(word, known)}')
        if len(set(self.must_report)) < len(self.must_report):
            raise ValueError("must_report: names a report twice")
        return self


def limit_entries(inherited: Limits, own: ScenarioLimits) -> tuple[LimitEntry, ...]:
    """Limits of a rehearsal: those of the scenario file, and those of the lift file that it does not replace.

    Parameters
    ----------
    inherited
        Of the lift file.
    own
        Of the scenario file.

    Returns
    -------
    tuple of LimitEntry
        In the order of ``Limits``, words last.
    """
    entries = []
    for name in Limits.model_fields:
        value: LimitValue | None = getattr(own, name)
        is_own = value is not None
        value = value if value is not None else getattr(inherited, name)
        if value is not None:
            entries.append(LimitEntry(name, value.value, LIMITS[name].unit, value.id, value.source, is_own))
    if own.must_report:
        entries.append(LimitEntry("must_report", 0.0, "", wanted=own.must_report))
    if own.ends_as is not None:
        entries.append(LimitEntry("ends_as", 0.0, "", wanted=(own.ends_as,)))
    return tuple(entries)


def late_times(inherited: Limits, own: Limits, usual: tuple[float, float]) -> tuple[float, float]:
    """Times [s] after a touch from which ``pinch_late_n`` and ``pinch_last_n`` hold.

    Parameters
    ----------
    inherited, own
        Of the lift file and of the scenario file.
    usual
        What holds where neither says.
    """
    late, last = usual
    for table in (inherited, own):
        if table.pinch_late_n is not None:
            late = usual[0] if table.pinch_late_n.after_s is None else table.pinch_late_n.after_s
        if table.pinch_last_n is not None:
            last = usual[1] if table.pinch_last_n.after_s is None else table.pinch_last_n.after_s
    return late, last
