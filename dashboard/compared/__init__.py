"""Batches of one recipe beside each other."""
