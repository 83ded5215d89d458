"""The node's own code: copied to a board unchanged, so written in the Python that MicroPython 1.9.2 takes.

No f-strings, no json, no str.encode, no typing; integers instead of floats; no reliance on the order of a dict.
"""


def const(number):
    """A whole number, for a name that begins with _: MicroPython's compiler puts the number in place of the name.

    Such a name costs a board nothing, where a global one takes some 50 bytes. CPython needs this function.
    """
    return number
