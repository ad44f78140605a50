"""What ``levelrig signal`` prints: the setting of the detector, and all detectors side by side."""

from __future__ import annotations

from textwrap import wrap

from scenarios.signal_extras import Extras
from scenarios.signal_influence import Influence
from scenarios.signal_note import notes_of
from scenarios.signal_score import Score
from scenarios.signal_study import JUDGED, Case, Study

__all__ = ["extras_lines", "study_lines"]

WIDTH = 110
_HEADS = ("", "true", "missed", "doubled", "false", "net a move", "missed per 1,000 (95 %)", "extra per 1,000 (95 %)")
_WIDTHS = (10, 7, 8, 9, 7, 15, 26, 25)


def _per_thousand(events: int, trials: int, interval: tuple[float, float]) -> str:
    if trials == 0:
        return "-"
    return f"{1e3 * events / trials:.2f} ({1e3 * interval[0]:.2f} to {1e3 * interval[1]:.2f})"


def _row(name: str, one: Score, nets: tuple[int, ...]) -> str:
    whole = one.whole
    mean = sum(nets) / len(nets)
    spread = (sum((net - mean) ** 2 for net in nets) / len(nets)) ** 0.5
    cells = (
        name,
        str(whole.true),
        str(whole.missed),
        str(whole.doubled),
        str(whole.false),
        f"{mean:+.1f} sd {spread:.1f}",
        _per_thousand(whole.missed, whole.true, whole.missed_interval()),
        _per_thousand(whole.doubled + whole.false, whole.true, whole.extra_interval()),
    )
    return "  " + cells[0].ljust(_WIDTHS[0]) + "".join(cell.rjust(width) for cell, width in zip(cells[1:], _WIDTHS[1:], strict=True))


def _where(case: Case) -> list[str]:
    """Where each detector errs, for those that do."""
    lines = []
    for name, one in case.scores.items():
        parts = [
            f"{phase.word} {part.missed} of {part.true} missed, {part.doubled + part.false} extra"
            for phase, part in sorted(one.phases.items())
            if part.missed + part.doubled + part.false > 0
        ]
        if parts:
            lines += wrap(f"{name}: {'; '.join(parts)}", WIDTH, initial_indent="    ", subsequent_indent="      ")
    return lines


def study_lines(study: Study) -> list[str]:
    """Lines for the terminal."""
    setting = study.setting
    lines = [
        f"{study.lift}, leg {study.leg}: detectors on the wires, {study.seeds} moves a case, {study.rate / 1e6:g} MHz",
        f"  spike detector: median spike {1e3 * setting.spike:.0f} mV, noise {1e3 * setting.noise:.1f} mV rms after the filters;"
        f" gain {setting.gain:.3g}, threshold {1e3 * setting.threshold:.0f} mV",
    ]
    for case in study.told:
        lines += ["", f"{case.condition} motor, {case.move}"]
        lines.append("  " + _HEADS[0].ljust(_WIDTHS[0]) + "".join(h.rjust(w) for h, w in zip(_HEADS[1:], _WIDTHS[1:], strict=True)))
        lines += [_row(name, one, case.nets[name]) for name, one in case.scores.items()]
        lines += _where(case)
        lines.append(f"    shape check: {', '.join(f'{number} {word}' for word, number in zip(JUDGED, case.judged, strict=True))}")
    return [*lines, "", *(line for note in notes_of(study) for line in wrap(note, WIDTH, subsequent_indent="  "))]


def _influence(row: Influence) -> str:
    cells = "".join(f"{row.missed(name)[0]:10.1f}{row.extra(name)[0]:8.1f}" for name in row.counts)
    return f"  {row.factor:<15}{row.value:<20}{cells}"


def extras_lines(extras: Extras) -> list[str]:
    """Lines of the decision table and, where it was swept, of the influence table."""
    lines = [f"ways of counting (homing due when {extras.limit_mm:g} mm of level may be used up)"]
    lines.append(f"  {'':<36}{'per mm':>8}{'a move':>16}{'moves':>8}{'wires':>7}{'parts':>7}{'cost':>9}  to mind")
    for one in extras.methods:
        error = f"{one.bias:+.1f} sd {one.spread:.1f}" if one.moves is not None else "0"
        moves = "-" if one.moves is None else str(one.moves)
        cost = "-" if one.cost is None else f"{one.cost:.2f}"
        pieces = sum(one.pieces.values()) - one.pieces["wire"]
        lines.append(
            f"  {one.name:<36}{one.counts_per_mm:8.2f}{error:>16}{moves:>8}{one.pieces['wire']:>7}{pieces:>7}{cost:>9}  {one.note}"
        )
    if extras.rows:
        heads = "".join(f"{name:>10}{'':8}" for name in extras.rows[0].counts)
        lines += ["", "influences, one factor at a time: missed and extra per 1,000", f"  {'':<35}{heads}"]
        lines += [_influence(row) for row in extras.rows]
        lines += [f"  {sentence}" for sentence in extras.verdicts]
    return lines
