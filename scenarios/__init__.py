"""Joins machine and controller: files, clocks, script, limits, verdicts, reports and the command line."""
