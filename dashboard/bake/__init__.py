"""The bake at the oven: the next step, counted down."""
