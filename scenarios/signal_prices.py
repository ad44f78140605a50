"""What the decision table of counting methods can be given a price for; none is built in."""

from __future__ import annotations

__all__ = ["PRICED"]

PRICED = ("wire", "connector", "part", "hall", "optical", "switch")
"""Each per piece; wires per leg, beside the two of the motor."""
