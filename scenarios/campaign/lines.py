"""What a campaign prints."""

from __future__ import annotations

import shlex

from scenarios.campaign.answers import Answers, LimitAnswer
from scenarios.campaign.rows import MEANING, Outcome
from scenarios.campaign.service_answers import service_lines
from scenarios.terminal import CAUTION_LINE
from scenarios.verdict import PINCH_CAUTIONS, number

__all__ = ["answer_lines", "caution_lines", "replay_line"]

DRIVERS = 3


def _unit(value: float | None, unit: str) -> str:
    return number(value) if value is None or not unit else f"{number(value)} {unit}"


def _row(one: LimitAnswer, served: bool) -> tuple[str, ...]:
    share = "-" if one.interval is None else f"{100 * one.interval.low:.3g} to {100 * one.interval.high:.3g} %"
    high = next((quantile for quantile in one.quantiles if quantile.share == 0.95), None)
    return (
        f"{one.name} [{one.id}]" if one.id else one.name,
        f"{'' if one.upper else '>= '}{_unit(one.limit, one.unit)}",
        f"{one.broken} of {one.judged}",
        share,
        "-" if high is None else _unit(high.value, one.unit),
        "-" if high is None else _unit(high.bound, one.unit),
        _unit(one.worst, one.unit),
        "-" if one.worst_run is None else str(one.worst_run),
        *(["-" if one.worst_move is None else str(one.worst_move)] if served else []),
    )


def answer_lines(answers: Answers) -> list[str]:
    """Lines for the terminal: heading, claim, table of limits, what drives the closest, lifts that were lost."""
    told = ", ".join(f"{count} {word}" for word, count in answers.outcomes.items() if count)
    lines = [f"{answers.name}   ({answers.rehearsal}, {answers.lifts} lifts, {answers.sampling}, seed {answers.seed})", f"  {told}"]
    lines.append(f"  {answers.claim}.")
    served = answers.service is not None
    heads = ("limit", "", "broken", f"share, {100 * answers.confidence:g} %", "95 % within", "bound", "worst", "run", *["move"] * served)
    rows = [heads, *(_row(one, served) for one in answers.limits)]
    widths = [max(len(row[k]) for row in rows) for k in range(len(heads))]
    lines += [
        "",
        *("  " + "  ".join(c.ljust(w) if k == 0 else c.rjust(w) for k, (c, w) in enumerate(zip(row, widths, strict=True))) for row in rows),
    ]
    lines += ["", *(f"  {one.id} ({', '.join(one.limits)}): {one.claim}" for one in answers.requirements)] if answers.requirements else []
    lines += ["", *_closest(answers)]
    lines += ["", *service_lines(answers.service, answers.confidence)] if answers.service is not None else []
    lines += [f"  run {run} {word} ({MEANING[Outcome[word.upper()]]}): {note}" for run, word, note in answers.lost]
    return lines


def _closest(answers: Answers) -> list[str]:
    """Worst lifts, and what the limits vary with."""
    lines = (
        ["  least margin: " + ", ".join(f"run {one.run} ({100 * one.margin_share:.3g} %)" for one in answers.worst[:5])]
        if answers.worst
        else []
    )
    for one in answers.limits:
        lines += [] if one.estimate is None or not one.broken else [f"  {one.name} {one.claim}"]
        lines += _share_lines(one)
        strong = [f"{driver.column} {driver.correlation:+.2f}" for driver in one.drivers[:DRIVERS] if driver.low * driver.high > 0.0]
        if strong:
            lines.append(f"  {one.name} goes with {', '.join(strong)}")
    return lines


def _share_lines(one: LimitAnswer) -> list[str]:
    """Strongest Sobol indices of a limit."""
    told = [
        f"{share.column} {share.first:.2f} alone, {share.total:.2f} in all ({share.total_low:.2f} to {share.total_high:.2f})"
        for share in one.shares[:DRIVERS]
    ]
    return [f"  variance of {one.name} by {'; '.join(told)}"] if told else []


def replay_line(answers: Answers, folder: str) -> str:
    """How to see one lift with its trace: the one with the least margin, or any."""
    run = str(answers.worst[0].run) if answers.worst else "N"
    command = shlex.join(["levelrig", "rehearse", "--from", folder, "--run", run, "--report"])
    if answers.service is not None:
        return f"The worst move of the worst run with its trace: {command} DIR (--move N: another move)"
    return f"{'The worst lift' if answers.worst else 'One lift'} with its trace: {command} DIR"


def caution_lines(answers: Answers) -> list[str]:
    """Cautions that every campaign carries, and those on forces where they are judged."""
    judged = any(one.name.startswith(("pinch_", "retreat_")) for one in answers.limits)
    return [CAUTION_LINE, *(PINCH_CAUTIONS if judged else ())]
