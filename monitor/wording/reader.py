"""How a reader wants to be told: clock, units and language; whatever words something asks for it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import tzinfo
from types import MappingProxyType

from monitor.errors import MonitorError
from monitor.translatable import Number, Translatable
from monitor.units import celsius, fahrenheit


@dataclass(frozen=True, slots=True, eq=False)
class Language:
    """What sentences are worded in.

    Attributes
    ----------
    code
        As ISO 639 has it, such as ``de``.
    sentences
        The translation of each source sentence, by that sentence; several for one that counts something, one for each
        form. What is missing stays as it is in the source.
    form
        Which of several forms a number takes.
    weekdays
        From Monday on.
    decimal
        The mark between a whole number and its fraction.
    """

    code: str
    sentences: Mapping[str, tuple[str, ...]]
    form: Callable[[int], int]
    weekdays: tuple[str, ...]
    decimal: str = "."


def _english_form(n: int) -> int:
    return int(n != 1)


_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
ENGLISH = Language("en", MappingProxyType({}), _english_form, _WEEKDAYS)
"""The language of the source: its sentences are the others' keys."""


@dataclass(frozen=True, slots=True)
class Reader:
    """How one reader is told things.

    Attributes
    ----------
    zone
        Of the reader's clock.
    temp_unit
        ``C`` or ``F``: the scale that comes first.
    mass_unit
        ``g`` or ``oz``: the unit that comes first.
    clock
        ``24`` or ``12``: the hours of a dial.
    """

    zone: tzinfo
    temp_unit: str = "C"
    mass_unit: str = "g"
    clock: str = "24"
    language: Language = ENGLISH

    @property
    def degree(self) -> str:
        """The sign of the reader's scale of temperature."""
        return f"°{self.temp_unit}"

    @property
    def degrees_per_kelvin(self) -> float:
        """How many of the reader's degrees a difference of one kelvin is."""
        return 1.8 if self.temp_unit == "F" else 1.0

    def degrees(self, temp_c: float) -> float:
        """A temperature in the reader's scale."""
        return fahrenheit(temp_c) if self.temp_unit == "F" else temp_c

    def temp_c(self, degrees: float) -> float:
        """A temperature that was typed in the reader's scale. [C]"""
        return celsius(degrees) if self.temp_unit == "F" else degrees

    def say(self, sentence: str, **holes: object) -> str:
        """A sentence in the reader's language, its named holes filled; errors in them are worded too.

        >>> from datetime import UTC
        >>> Reader(UTC).say("ready since {at}", at="09:51")
        'ready since 09:51'
        """
        found = self.language.sentences.get(sentence, (sentence,))[0]
        return found.format_map(self._worded(holes)) if holes else found

    def text(self, what: str | MonitorError) -> str:
        """What an error or another translatable text says, in the reader's language; any other text as it stands.

        >>> from datetime import UTC
        >>> Reader(UTC).text(MonitorError("{file}: is missing", file="a.toml"))
        'a.toml: is missing'
        """
        if isinstance(what, MonitorError):
            what = what.message
        return self.say(what.sentence, **what.holes) if isinstance(what, Translatable) else what

    def _worded(self, holes: Mapping[str, object]) -> Mapping[str, object]:
        return {name: self._hole(hole) for name, hole in holes.items()}

    def _hole(self, hole: object) -> object:
        if isinstance(hole, Translatable | MonitorError):
            return self.text(hole)
        return hole.replace(".", self.language.decimal) if isinstance(hole, Number) else hole

    def count(self, n: int, one: str, many: str, **holes: object) -> str:
        """A sentence about ``n`` things, in the form that the reader's language has for that number.

        >>> from datetime import UTC
        >>> Reader(UTC).count(1, "{n} call", "{n} calls"), Reader(UTC).count(0, "{n} call", "{n} calls")
        ('1 call', '0 calls')
        """
        forms = self.language.sentences.get(one)
        found = (one, many)[_english_form(n)] if forms is None else forms[self.language.form(n)]
        return found.format_map({"n": n, **self._worded(holes)})

    def number(self, value: float, digits: int = 0) -> str:
        """A number with its decimals.

        >>> from datetime import UTC
        >>> Reader(UTC).number(25.34, 1)
        '25.3'
        """
        return f"{value:.{digits}f}".replace(".", self.language.decimal)
