"""Simulated doughs of different structure, and the invented recipes they are drawn from."""
