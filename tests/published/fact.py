"""One published number: what it is of, where it is from, and how it was come by."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import pytest


class Seen(StrEnum):
    """How a number came to be here. A tolerance comes from its printed digits or claimed accuracy, never from us."""

    SEEN = "seen"  # read in the source named, or in its abstract
    QUOTED = "quoted by"  # read where another text quotes the source
    MEMORY = "from memory"  # check the source before relying on it
    COMPUTED = "computed"  # worked out apart from this program, from inputs stated
    JUDGEMENT = "judgement"  # no publication behind it


@dataclass(frozen=True, slots=True)
class Fact:
    """A value that this program must come to.

    Attributes
    ----------
    what
        Quantity and conditions, with units.
    ours
        Works out the program's value.
    value, tolerance
        As published; the tolerance is absolute unless ``is_relative``.
    source, seen
        Where it is from, and how it was come by.
    """

    what: str
    ours: Callable[[], Any]
    value: float
    tolerance: float
    source: str
    seen: Seen
    is_relative: bool = False

    def check(self) -> None:
        """Fail when the program's value is another."""
        assert self.source, "a published value needs its source"
        margin = {"rel": self.tolerance, "abs": 0.0} if self.is_relative else {"rel": 0.0, "abs": self.tolerance}
        assert float(self.ours()) == pytest.approx(self.value, **margin), f"{self.what} ({self.source}, {self.seen})"


def each(facts: list[Fact]) -> pytest.MarkDecorator:
    """Run a test once for each fact, named by what it is of."""
    return pytest.mark.parametrize("fact", facts, ids=[fact.what for fact in facts])
