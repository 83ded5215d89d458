"""The planned day, and the bake at the oven."""
