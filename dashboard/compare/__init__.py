"""Batches of a recipe beside each other."""
