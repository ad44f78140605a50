"""Every shipped rehearsal without outside help closes its energy balance, and would not if a heat that matters were booked 2 % wrong."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import pytest
from rehearsals import REHEARSALS, SHIPPED, named, table

from scenarios.files import load_scenario
from scenarios.runner import fly
from scenarios.wiring import stored_energy

LIMIT = 1e-3
HEAT = ("copper", "bridge", "diode", "brush", "drag", "gear", "thread", "collar", "guide", "impact")


@lru_cache
def shares(path: Path) -> dict[str, float]:
    """Terms of the balance as shares of the energy that the source gave, ``residual`` being what they leave over."""
    flight = fly(load_scenario(path), trace=False)
    world = flight.rig[0]["world"]
    legs, given = world["legs"]["energy"][: int(world["n_legs"])], float(world["supply"]["energy_in"])
    terms = {name: float(legs[name].sum()) for name in (*HEAT, "work")}
    terms["supply"] = float(world["supply"]["energy_heat"])
    terms["stored"] = stored_energy(flight.rig)
    assert given > 1.0
    return {name: value / given for name, value in terms.items()} | {"residual": 1.0 - sum(terms.values()) / given}


def helped(path: Path) -> bool:
    """Whether somebody does work on the lift in it: leans on the deck and lets go, turns a spindle, takes pressed debris away."""
    faults = table(path).get("fault", [])
    return any(one["what"] in ("lean", "hand-turn") or (one["what"] == "debris" and "for_s" in one) for one in faults)


@pytest.mark.parametrize("path", [path for path in REHEARSALS if not helped(path)], ids=named)
def test_what_the_source_gave_is_heat_work_or_stored(path: Path) -> None:
    residual = shares(path)["residual"]
    print(f"{named(path)}: residual {residual:.1e}")

    assert abs(residual) < LIMIT


@pytest.mark.parametrize("path", SHIPPED, ids=named)
def test_two_per_cent_more_of_any_large_heat_breaks_the_balance(path: Path) -> None:
    terms = shares(path)
    # two per cent of a twentieth are the limit itself: a term must be larger than that by what the balance is off
    large = [name for name in (*HEAT, "supply") if terms[name] > 0.05 + abs(terms["residual"]) / 0.02]
    print(", ".join(f"{name} {100 * terms[name]:.1f} %" for name in large))

    assert len(large) >= 3
    for name in large:
        assert abs(terms["residual"] - 0.02 * terms[name]) > LIMIT
        assert abs(terms["residual"] + 0.02 * terms[name]) > LIMIT


def test_every_kind_of_heat_comes_up_in_some_example_and_none_is_negative() -> None:
    terms = [shares(path) for path in SHIPPED]

    assert {name for name in HEAT if any(each[name] > 0.0 for each in terms)} == set(HEAT)
    assert all(each[name] >= 0.0 for each in terms for name in HEAT)
