"""Tuning the settings of a lift: rehearsals and corners flown on the flat clock, margins of the loop, a search, and its proof."""
