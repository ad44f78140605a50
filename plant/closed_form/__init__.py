"""Design formulas of lifting drives as plain functions of numbers, each with its source; nothing here is compiled."""
