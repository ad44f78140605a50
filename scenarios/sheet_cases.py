"""Rows of the drive sheet that are given per load case: running, coasting and braking."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import pi

from scenarios.sheet import Row, warned
from scenarios.sheet_leg import Case
from scenarios.sheet_legs import CASES, EMPTY, Column

__all__ = ["GROUP", "case_rows"]

GROUP = "running and stopping"
CURRENT_SHARE = 0.8
LONG_COAST = 5e-3
"""Metres of coast above which a warning is given (planning value)."""

STEADY = "steady point, full duty: v = R i + K w + brush drop(i), K i = load + drag"
COAST = "J dw/dt = -(T + b w): t = (J/b) ln(1 + b w/T), x = rx (J/b)(w - (T/b) ln(1 + b w/T))"
BRAKE = "wires shorted, integrated: L di/dt = -R i - K w - brush drop, J dw/dt = K i - T - b w"
MOTOR_EQUATIONS = "motor equations, standard"
RETARDATION = "retardation test in closed form"

Quantity = tuple[str, str, Callable[[Case], float], str, str]

QUANTITIES: tuple[Quantity, ...] = (
    ("nut force", "N", lambda case: case.force, "weight on the leg, plus guide friction raising, minus it lowering", "statics"),
    ("current", "A", lambda case: case.point.current, STEADY, MOTOR_EQUATIONS),
    ("motor speed", "rpm", lambda case: case.point.speed * 30.0 / pi, STEADY, MOTOR_EQUATIONS),
    ("speed", "mm/s", lambda case: case.speed * 1e3, "motor speed times lead / (2 pi ratio)", "kinematics"),
    (
        "count frequency",
        "Hz",
        lambda case: case.counts(case.point.speed),
        "counts per revolution times revolutions per second",
        "arithmetic",
    ),
    ("efficiency", "%", lambda case: 100.0 * case.efficiency, "m g v over supply voltage times current, raising", "power balance"),
    ("coast time", "s", lambda case: case.coasting.time, COAST, RETARDATION),
    ("coast", "mm", lambda case: case.coasting.angle * case.drive.travel * 1e3, COAST, RETARDATION),
    ("coast counts", "1", lambda case: case.counts(case.coasting.angle), COAST, RETARDATION),
    ("braked time", "s", lambda case: case.braking.time, BRAKE, MOTOR_EQUATIONS),
    ("braked", "mm", lambda case: case.braking.angle * case.drive.travel * 1e3, BRAKE, MOTOR_EQUATIONS),
    ("braked counts", "1", lambda case: case.counts(case.braking.angle), BRAKE, MOTOR_EQUATIONS),
)


def case_rows(columns: Sequence[Column]) -> list[Row]:
    """Rows of every case and quantity, case by case."""
    rows = []
    for case in CASES:
        for name, unit, take, formula, source in QUANTITIES:
            values = tuple(take(column.cases[case]) for column in columns)
            rows.append(_checked(Row(GROUP, name, unit, values, formula, source, case), columns))
    return rows


def _checked(row: Row, columns: Sequence[Column]) -> Row:
    limits = [column.drive.current_limit for column in columns]
    if row.name == "speed":
        return warned(
            row,
            lambda value: value == 0.0,
            "the drive does not move this load",
            "Take a higher ratio, a finer lead, a stronger motor or a higher current limit.",
        )
    if row.name == "current" and any(value > CURRENT_SHARE * limit for value, limit in zip(row.values, limits, strict=True)):
        return warned(
            row,
            lambda _: True,
            f"the running current is above {100.0 * CURRENT_SHARE:g} % of the bridge's limit, so start and cold grease reach the limit",
            "Raise bridge.current_limit_a or lower the load torque (ratio, lead, friction).",
        )
    if row.name == "coast" and row.case != EMPTY:
        return warned(
            row,
            lambda value: value > LONG_COAST * 1e3,
            f"the coast is longer than {LONG_COAST * 1e3:g} mm, so small changes of friction move the stop by much",
            "Let the off-state brake in this direction, slow down before the target, or take a thread with more friction margin.",
        )
    return row
