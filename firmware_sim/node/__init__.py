"""The node's own code: copied to a board unchanged, so written in the Python that MicroPython 1.9.2 takes.

No f-strings, no json, no str.encode, no typing; integers instead of floats; no reliance on the order of a dict.
"""
