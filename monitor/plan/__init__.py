"""The baker's day: recipes on a clock, within what people, mixer, places and oven allow, and kept true by the dough."""
