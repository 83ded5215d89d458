"""Ended batches: how each went, why, and what to change next time."""
