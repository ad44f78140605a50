"""Single-leg figures on which two independent models (fixed step and adaptive) of the same equations agree.

Full duty, no current limit, stiff supply, winding held at 20 C, no Stribeck, inertia J + Js/i^2 + m rx^2; the rows without
load have no guide friction either. Parameter sets A (24 V, Tr 14x4) and B (12 V, Tr 10x3), inventions of our own.
"""

from __future__ import annotations

__all__ = ["FIGURES", "named"]

Row = tuple[str, int, int]

# set, load [kg], direction: A, rpm, mm/s, Hz; coast s, mm, counts; braked s, mm, counts
FIGURES: dict[Row, tuple[float, ...]] = {
    ("A", 0, 1): (0.84099, 3880.4, 39.799, 776.09, 0.49093, 9.0667, 176.80, 0.066353, 0.55801, 10.88),
    ("A", 30, 1): (2.4920, 3621.3, 37.142, 724.26, 0.13386, 2.4379, 47.54, 0.036351, 0.42678, 8.32),
    ("A", 60, 1): (3.9455, 3394.2, 34.812, 678.84, 0.077851, 1.3405, 26.14, 0.028144, 0.35358, 6.89),
    ("A", 30, -1): (0.98538, 3857.2, 39.561, 771.43, 0.40394, 7.5199, 146.64, 0.060621, 0.54426, 10.61),
    ("A", 60, -1): (1.1525, 3830.8, 39.290, 766.15, 0.33517, 6.2647, 122.16, 0.055718, 0.53003, 10.34),
    ("B", 0, 1): (0.49320, 5038.7, 22.394, 839.79, 0.41068, 4.4192, 165.72, 0.071077, 0.33895, 12.71),
    ("B", 8, 1): (1.0952, 4809.1, 21.374, 801.51, 0.16523, 1.7383, 65.19, 0.044998, 0.27242, 10.22),
    ("B", 20, 1): (1.8149, 4540.8, 20.182, 756.81, 0.092530, 0.92572, 34.71, 0.033517, 0.22322, 8.37),
    ("B", 8, -1): (0.52442, 5025.7, 22.336, 837.61, 0.38303, 4.1225, 154.59, 0.068672, 0.33471, 12.55),
    ("B", 20, -1): (0.58727, 5000.4, 22.224, 833.40, 0.33697, 3.6253, 135.95, 0.064458, 0.32658, 12.25),
}


def named(row: Row) -> str:
    """Name of a row in the name of a test."""
    return f"{row[0]} {row[1]} kg {'up' if row[2] > 0 else 'down'}"
