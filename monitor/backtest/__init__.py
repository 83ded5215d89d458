"""Recorded batches through the estimator and through what a baker or an engineer could use instead, in one table."""
