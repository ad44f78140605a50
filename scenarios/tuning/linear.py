"""Margins of the levelling loop at every corner, for any gains: the plants are made once for each control tick."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from math import inf, sqrt

from scenarios.build import build_rig
from scenarios.corners import CornerPlants, Span, corner_plants, judge, worst
from scenarios.files.settings import Settings
from scenarios.files.tuning import Choices
from scenarios.loop_model import basis_of, law_of
from scenarios.operating_point import NoSteadyMotionError
from scenarios.tuning.corners import CASE_SHARE
from scenarios.tuning.plan import Plan, with_settings

__all__ = ["CornerFigures", "Linear", "span_of"]

FEW = 4
LATE = (1.0, 1.1)
"""Factors on the control tick: common practice, no source."""


@dataclass(frozen=True)
class CornerFigures:
    """Worst margins over the corners, each with the corner that has it; ``why`` says why there are none."""

    gain: float = inf
    gain_at: str = ""
    sensitivity: float = 1.0
    sensitivity_at: str = ""
    phase: float = inf
    delay: float = inf
    stable: bool = True
    corners: int = 0
    why: str = ""


def _middle(plan: Plan) -> dict[str, float]:
    """Gains in the middle of the search."""
    found = {}
    for key in ("levelling.kc_per_mm", "levelling.ki_per_mm_s"):
        span = plan.search.get(key)
        if span is not None and not isinstance(span, Choices):
            found[key] = sqrt(span[0] * span[1]) if span[0] > 0.0 else 0.25 * span[1]
    return found


def span_of(plan: Plan) -> Span:
    """Ranges of the plan's corners; the case is as much warmer than 20 C as in ``scenarios.tuning.corners``."""
    spans, air = plan.spans, plan.rehearsals[0].lift.duty.ambient_c
    winding = spans.winding_c or (air,)
    return Span(
        supply=spans.supply or (1.0,),
        winding=winding,
        case=tuple(20.0 + CASE_SHARE * (warm - 20.0) for warm in winding),
        friction=spans.friction or (1.0,),
        tick=LATE,
    )


class Linear:
    """The linear loop of a plan.

    Parameters
    ----------
    plan
        What is tuned; its first rehearsal gives the lift, every combination of light and full legs is taken as load.
    """

    def __init__(self, plan: Plan) -> None:
        self.scenario = plan.rehearsals[0]
        self.span = span_of(plan)
        self._late = replace(self.span, tick=self.span.tick[-1:])
        self._plants = lru_cache(maxsize=None)(self._make)
        self._chosen = lru_cache(maxsize=None)(self._few)
        self.middle = _middle(plan)

    def _make(self, tick_ms: float, base_duty: float, late: bool = False) -> CornerPlants:
        settings = self.scenario.settings
        timing = settings.timing.model_copy(update={"tick_ms": tick_ms})
        speed = settings.speed.model_copy(update={"base_duty": base_duty})
        changed = settings.model_copy(update={"timing": timing, "speed": speed})
        return corner_plants(replace(self.scenario, settings=changed), self._late if late else self.span)

    def _few(self, tick_ms: float, base_duty: float) -> CornerPlants:
        """The corners that are worst for gains in the middle of the search: few change places with the gains.

        Fixed gains, so that every process chooses the same; only late ticks, since an earlier one is never worse.
        """
        plants = self._make(tick_ms, base_duty, late=True)
        settings = with_settings(self.scenario.settings, self.middle | {"timing.tick_ms": tick_ms})
        rig = build_rig(replace(self.scenario, settings=settings))[0]
        found = judge(plants, law_of(rig["settings"], basis_of(rig["world"])))
        judged = [(one.margins, corner) for one, corner in zip(found, plants.corners, strict=True) if one.margins is not None]
        by_peak = sorted(judged, key=lambda pair: -pair[0].sensitivity)[:FEW]
        by_gain = sorted(judged, key=lambda pair: pair[0].gain)[:FEW]
        chosen = {corner.name: corner for _, corner in [*by_peak, *by_gain]}
        return CornerPlants(tuple(chosen.values()), plants.modes) if chosen else plants

    def figures(self, settings: Settings, quick: bool = False) -> CornerFigures:
        """Worst margins of the law that the settings ask for; ``quick``: at the few corners that are worst for middling gains."""
        rig = build_rig(replace(self.scenario, settings=settings))[0]
        try:
            law = law_of(rig["settings"], basis_of(rig["world"]))
            place = (settings.timing.tick_ms, settings.speed.base_duty)
            found = judge(self._chosen(*place) if quick else self._plants(*place), law)
            bad = worst(found)
        except (NoSteadyMotionError, ValueError) as error:
            return CornerFigures(why=str(error))
        judged = [(corner.name, corner.margins) for corner in found if corner.margins is not None]
        gain_at, gain = min(judged, key=lambda one: one[1].gain)
        assert bad.margins is not None
        return CornerFigures(
            gain=gain.gain,
            gain_at=gain_at,
            sensitivity=bad.margins.sensitivity,
            sensitivity_at=bad.name,
            phase=min(one.phase for _, one in judged),
            delay=min(one.delay for _, one in judged),
            stable=all(one.stable for _, one in judged),
            corners=len(judged),
        )
