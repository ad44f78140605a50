"""What a number of lifts says about all lifts: exact intervals, how many lifts a claim needs, bounds of quantiles, claims in words.

Everything here is distribution-free.  It takes the lifts as independent draws of one population, which plain random sampling
makes them; of a Latin hypercube or a Sobol set, which spread more evenly than chance, it is an approximation.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, floor, log10
from typing import NamedTuple

__all__ = [
    "Interval",
    "bound_order",
    "claim",
    "claim_of_plan",
    "exact_interval",
    "most_broken",
    "none_broken_bound",
    "quantile_interval",
    "runs_needed",
    "runs_needed_two_sided",
    "score_interval",
    "share_at_least",
    "upper_bound",
]


class Interval(NamedTuple):
    """Lower and upper end."""

    low: float
    high: float


def exact_interval(broken: int, runs: int, confidence: float = 0.95) -> Interval:
    """Two-sided exact interval of a share: at least ``confidence`` of such intervals hold the true share.

    Parameters
    ----------
    broken
        How many of the runs had the property.
    runs
        How many there were, at least one.
    confidence
        Of the interval, 0 to 1.

    Notes
    -----
    Source: C. Clopper, E. Pearson, Biometrika 26:404 (1934); NIST/SEMATECH e-Handbook 7.2.4.2.
    """
    from scipy.stats import binomtest

    found = binomtest(broken, runs).proportion_ci(confidence, method="exact")
    return Interval(float(found.low), float(found.high))


def score_interval(broken: int, runs: int, confidence: float = 0.95) -> Interval:
    """Two-sided score interval of a share: narrower than the exact one, true to ``confidence`` only in the mean.

    Source: E. Wilson, J. Am. Stat. Assoc. 22:209 (1927); NIST/SEMATECH e-Handbook 7.2.4.1.
    """
    from scipy.stats import binomtest

    found = binomtest(broken, runs).proportion_ci(confidence, method="wilson")
    return Interval(float(found.low), float(found.high))


def most_broken(broken: int, runs: int, confidence: float = 0.95) -> float:
    """One-sided exact upper bound of the share that breaks, at ``confidence``; 1 where there are no runs."""
    from scipy.stats import binomtest

    return float(binomtest(broken, runs, alternative="less").proportion_ci(confidence, method="exact").high) if runs else 1.0


def none_broken_bound(runs: int, confidence: float = 0.95) -> float:
    """Upper bound of the share that breaks where none of ``runs`` did; close to 3/``runs`` at 95 %.

    Source: J. Hanley, A. Lippman-Hand, J. Am. Med. Assoc. 249:1743 (1983), the rule of three.
    """
    return float(1.0 - (1.0 - confidence) ** (1.0 / runs))


def share_at_least(broken: int, runs: int, confidence: float = 0.95) -> float:
    """Share of all lifts of which one can say, at ``confidence``, that at least so many pass."""
    return 1.0 - most_broken(broken, runs, confidence)


def _enough(order: int, share: float, confidence: float) -> int:
    """Least runs of which ``order`` or more lie in a part of probability 1 - ``share``, with ``confidence``."""
    from scipy.stats import binom

    if not (0.0 < share < 1.0 and 0.0 < confidence < 1.0 and order >= 1):
        raise ValueError(f"share {share}, confidence {confidence}, order {order}: must be 0 to 1, 0 to 1, and 1 or more")
    low, high = order - 1, max(order, 2)
    while binom.cdf(order - 1, high, 1.0 - share) > 1.0 - confidence:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        if binom.cdf(order - 1, middle, 1.0 - share) > 1.0 - confidence:
            low = middle
        else:
            high = middle
    return high


def runs_needed(share: float, confidence: float = 0.95, order: int = 1) -> int:
    """Runs after which the ``order``-th largest value is an upper bound of ``share`` of all values, at ``confidence``.

    With order 1 these are also the runs that must all pass before one can say that at least ``share`` of all lifts pass;
    with order m, the runs of which m - 1 may break.

    Raises
    ------
    ValueError
        If an argument is out of its range.

    Notes
    -----
    Source: S. Wilks, Ann. Math. Stat. 12:91 (1941).  A bound so found is itself a draw: the procedure done again gives a
    larger one as often as a smaller one (L. Pal, M. Makai, 2013).
    """
    return _enough(order, share, confidence)


def runs_needed_two_sided(share: float, confidence: float = 0.95, order: int = 1) -> int:
    """Runs after which ``share`` of all values lie between the ``order``-th smallest and the ``order``-th largest.

    Source: S. Wilks, Ann. Math. Stat. 12:91 (1941).
    """
    return _enough(2 * order, share, confidence)


def bound_order(runs: int, share: float, confidence: float = 0.95) -> int:
    """Which of the largest values bounds ``share`` of all from above, at ``confidence``: 1 the largest; 0: too few runs."""
    from scipy.stats import binom

    order = int(binom.ppf(1.0 - confidence, runs, 1.0 - share))
    # ppf is the least k with cdf(k) >= q, so that cdf(k - 1) < q; an order m needs cdf(m - 1) <= q
    return order + 1 if binom.cdf(order, runs, 1.0 - share) <= 1.0 - confidence else order


def upper_bound(values: Sequence[float], share: float, confidence: float = 0.95) -> float | None:
    """Value that at least ``share`` of all lifts do not exceed, at ``confidence``; None where there are too few runs."""
    order = bound_order(len(values), share, confidence)
    return sorted(values)[-order] if order else None


def quantile_interval(values: Sequence[float], share: float, confidence: float = 0.95) -> tuple[float | None, float, float | None]:
    """Quantile of the values with a two-sided distribution-free interval: lower end, quantile, upper end.

    An end is None where there are too few runs for it.  Each side is held at half of what ``confidence`` leaves.

    Source: order statistics; H. David, H. Nagaraja, Order Statistics, 3rd ed., 7.1 (from memory).
    """
    ordered = sorted(values)
    side = 0.5 * (1.0 + confidence)
    high = bound_order(len(ordered), share, side)
    low = bound_order(len(ordered), 1.0 - share, side)
    middle = ordered[min(len(ordered) - 1, max(0, ceil(share * len(ordered)) - 1))]
    return (ordered[low - 1] if low else None, middle, ordered[-high] if high else None)


def _percent_down(share: float) -> str:
    """Share in per cent, never more than it is, with two digits of what is missing to the whole."""
    missing = 100.0 * (1.0 - share)
    if missing <= 0.0:
        return "100"
    digits = max(0, 1 - floor(log10(missing)))
    scale = 10.0**digits
    least = floor((100.0 - missing) * scale + 1e-9) / scale
    return f"{least:.{digits}f}".rstrip("0").rstrip(".") if digits else f"{least:.0f}"


def claim(broken: int, runs: int, confidence: float = 0.95) -> str:
    """What ``broken`` of ``runs`` says, in words."""
    if runs == 0:
        return "no lift was judged: nothing can be said"
    share = share_at_least(broken, runs, confidence)
    return f"{broken} of {runs} broke it: at least {_percent_down(share)} % of lifts pass, at {100 * confidence:g} % confidence"


def claim_of_plan(runs: int, confidence: float = 0.95) -> str:
    """What a campaign of ``runs`` lifts can say at best, and what the next claims would need."""
    best = _percent_down(share_at_least(0, runs, confidence))
    wanted = [share for share in (0.95, 0.99, 0.999, 0.9999) if runs_needed(share, confidence) > runs][:2]
    needs = ", ".join(f"{100 * share:g} % {runs_needed(share, confidence)}" for share in wanted)
    tail = f"; a claim of {needs}" if needs else ""
    return f"{runs} lifts, if none breaks a limit: at least {best} % of lifts pass, at {100 * confidence:g} % confidence{tail}"
