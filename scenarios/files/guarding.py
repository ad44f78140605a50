"""The settings of the guards that answer to what the current tells: pinch and over-temperature."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from scenarios.files.fields import Table, quantity

__all__ = ["Pinch", "Warmth"]


class Pinch(Table):
    """When a leg counts as pressing on an obstacle, and what all legs then do; without this table the guard is off."""

    rise_a: float = quantity(0.02, 50, "Rise of the current over what this load should draw that is a pinch.", 0.5)
    rise_most_a: float | None = quantity(
        0.02, 50, "What the learnt spread may widen rise_a to at most; left out: one and a half times rise_a.", None
    )
    fall_a: float = quantity(0.02, 50, "Lowering: fall of the current that is a pinch.", 0.2)
    fall_least_a: float = quantity(0.01, 50, "Lowering: a smaller fall is never taken for a pinch.", 0.1)
    loss_share: float = quantity(0.1, 1, "Lowering a light load: share of the load's part of the current whose loss is a pinch.", 0.7)
    spreads: float = quantity(0, 20, "Threshold in standard deviations of the learnt profile; 0: only rise_a.", 5.0)
    filter_ms: float = quantity(0, 200, "Time constant of the filter on the deviation.", 5.0)
    confirm_ms: float = quantity(0, 500, "Time the deviation must last.", 10.0)
    common_ms: float = quantity(0, 2000, "The same for a fall that all legs show alike: it may be the supply.", 60.0)
    start_ms: float = quantity(0, 5000, "Time after the soft start in which the level of a move is still being found.", 200.0)
    start_extra_a: float = quantity(0, 50, "Added to the thresholds until then.", 2.0)
    swing_share: float = quantity(0, 2, "Share of the accelerating current added to the thresholds.", 0.3)
    follow_a_per_s: float = quantity(0, 10, "How fast the level follows a current that changes slowly.", 0.02)
    learn_gain: float = quantity(0, 1, "Share of a clean move that the profile takes; 0: nothing is learnt.", 0.2)
    learn_most: float = quantity(0, 1, "Most that the profile takes in one move, as a share of the running current.", 0.1)
    reaction: Literal["coast", "brake", "reverse"] = Field(
        default="reverse", description="What all legs do at once: power off, short the motors, or drive back; then they retreat."
    )
    retreat_mm: float = quantity(1, 500, "How far they then go back, level.", 30.0)
    retreat_duty: float = quantity(0.05, 1, "Duty of the retreat, and of the reversal.", 0.7)

    @model_validator(mode="after")
    def _thresholds_are_ordered(self) -> Self:
        if self.rise_most_a is not None and self.rise_most_a < self.rise_a:
            raise ValueError(f"rise_most_a = {self.rise_most_a:g} must not be below rise_a = {self.rise_a:g}")
        if self.fall_least_a > self.fall_a:
            raise ValueError(f"fall_least_a = {self.fall_least_a:g} must not exceed fall_a = {self.fall_a:g}")
        if self.common_ms < self.confirm_ms:
            raise ValueError(f"common_ms = {self.common_ms:g} must not be below confirm_ms = {self.confirm_ms:g}")
        return self


class Warmth(Table):
    """The memory of the windings' temperature; without this table there is none."""

    limit_c: float = quantity(40, 250, "Estimated winding temperature at which a move is ended level.", 110.0)
    start_limit_c: float = quantity(30, 250, "Estimated winding temperature above which no move is begun.", 90.0)
    ambient_c: float = quantity(-40, 85, "Air temperature that is assumed.", 40.0)

    @model_validator(mode="after")
    def _limits_are_ordered(self) -> Self:
        if not self.ambient_c < self.start_limit_c <= self.limit_c:
            raise ValueError(
                f"ambient_c = {self.ambient_c:g}, start_limit_c = {self.start_limit_c:g} and limit_c = {self.limit_c:g} "
                "must stand in this order"
            )
        return self
