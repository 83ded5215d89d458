"""How a reader wants to be told: clock, units and language; whatever words something asks for it."""

import re
import string
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import tzinfo
from functools import lru_cache
from types import MappingProxyType

from monitor.errors import MonitorError
from monitor.translatable import Half, Number, Opening, Saying, capital, half_of


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

    def say(self, sentence: str, **holes: object) -> str:
        """A sentence in the reader's language, its named holes filled; sayings and errors in them are worded too.

        >>> from datetime import UTC
        >>> Reader(UTC).say("ready since {at}", at="09:51")
        'ready since 09:51'
        """
        found = self.language.sentences.get(sentence, (sentence,))[0]
        return found.format_map(self._worded(holes)) if holes else found

    def told(self, what: str | MonitorError) -> str:
        """What an error or a saying says, in the reader's language.

        An ordinary text, such as a store keeps, is recognised by the sentence that it was made from; one that was made
        from none is told as it stands.

        >>> from datetime import UTC
        >>> Reader(UTC).told(MonitorError("{file}: is missing", file="a.toml"))
        'a.toml: is missing'
        """
        if isinstance(what, MonitorError):
            what = what.saying
        if isinstance(what, Half):
            return half_of(self.told(what.whole), what.side)
        if isinstance(what, Opening):
            return capital(self.told(what.whole))
        if isinstance(what, Saying) and what.holes:
            return self.say(what.sentence, **what.holes)
        return recognised(str(what), self.language)

    def _worded(self, holes: Mapping[str, object]) -> Mapping[str, object]:
        return {name: self._hole(hole) for name, hole in holes.items()}

    def _hole(self, hole: object) -> object:
        if isinstance(hole, Saying | Half | Opening | MonitorError):
            return self.told(hole)
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


LEAST_LETTERS = 8  # judgement: a sentence with fewer of its own could be part of any text
LONGEST_RECOGNISED = 1000  # judgement: several times the longest sentence there is


@lru_cache(maxsize=4096)
def recognised(text: str, language: Language) -> str:
    """A text that was made from a source sentence, in another language; one that was made from none as it stands.

    The sentence that has most of its own letters in the text is the one. What fills its holes is recognised likewise.
    """
    if text in language.sentences:
        return language.sentences[text][0]
    if re.fullmatch(r"[-+]?\d+\.\d+", text):
        return text.replace(".", language.decimal)
    if len(text) <= LONGEST_RECOGNISED:
        for words, pattern, told in _patterns(language):
            if _holds(text, words) and (found := pattern.fullmatch(text)):
                holes = {name: recognised(filled, language) for name, filled in found.groupdict().items()}
                return told.format_map(holes)
    return text


@lru_cache(maxsize=8)
def _patterns(language: Language) -> list[tuple[list[str], re.Pattern[str], str]]:
    """The words and looks of texts made from sentences with holes, or from a half of one, and their translations.

    Those with most letters of their own come first.
    """
    found = []
    for sentence, told in _with_halves(language):
        own, between, pattern, seen = 0, list[str](), "", set[str]()
        for words, name, spec, conversion in string.Formatter().parse(sentence):
            own += sum(letter.isalpha() for letter in words)
            between.append(words)
            pattern += re.escape(words)
            if name is None:
                continue
            if spec or conversion or not name.isidentifier():  # cannot be filled again from a text
                own = 0
                break
            pattern += f"(?P={name})" if name in seen else f"(?P<{name}>.+?)"
            seen.add(name)
        if own >= LEAST_LETTERS:
            found.append((own, between, re.compile(pattern, re.DOTALL), told))
    return [(between, pattern, told) for _, between, pattern, told in sorted(found, key=lambda each: -each[0])]


def _holds(text: str, words: list[str]) -> bool:
    """Whether a text has these words in order: quick to say, where a pattern tries every way to fill its holes."""
    at = 0
    for each in words:
        at = text.find(each, at)
        if at < 0:
            return False
        at += len(each)
    return True


def _with_halves(language: Language) -> Iterator[tuple[str, str]]:
    """The sentences with holes and their translations; those of two halves, what is wrong and what to do, also each."""
    for sentence, forms in language.sentences.items():
        if len(forms) > 1 or "{" not in sentence:
            continue
        yield sentence, forms[0]
        if "; " in sentence and "; " in forms[0]:
            yield from ((half_of(sentence, side), half_of(forms[0], side)) for side in (0, 1))
