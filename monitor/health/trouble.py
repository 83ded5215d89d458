"""One thing that is wrong with the monitor itself, and what its keeper can do about it."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Trouble:
    """What is wrong, in plain words.

    Attributes
    ----------
    key
        The same for as long as the same thing is wrong: ``disk``, ``reboots urn:dev:...``.
    what, mend
        What is wrong, and what to do; neither holds a secret.
    after_s
        How long it must last before it is told. [s]
    """

    key: str
    what: str
    mend: str
    after_s: float = 0.0
