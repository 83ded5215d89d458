"""Recipes: weights to read across a table, and what does not add up."""
