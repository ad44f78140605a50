"""Campaigns: many lifts over tolerances, faults and wear, kept on disk, with answers that carry their confidence."""
