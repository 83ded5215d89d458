"""Knows how far each bread dough has risen, when it will be ready, and how sure that is."""
