"""Simulated doughs recorded as fast as the machine can: one, or whole sets, each with the truth beside it."""
