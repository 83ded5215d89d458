"""Texts that remember how they were made, so that whoever reads them can have them in a language of their own.

What the pure rooms and the errors say is English, and so are logs. Such a text is an ordinary English text. It also
keeps its source sentence and what fills the holes, which is all that
:meth:`monitor.wording.reader.Reader.text` needs to word it anew.
"""

import unicodedata
from collections.abc import Iterable, Mapping
from typing import Self


def N_(sentence: str) -> str:
    """Mark a source sentence that is said elsewhere, so that it is found for the translators.

    >>> N_("ready")
    'ready'
    """
    return sentence


class Translatable(str):
    """An English sentence with its holes filled.

    Attributes
    ----------
    sentence
        Of the source, with its named holes: the key of its translations.
    holes
        What fills them; translatable texts among them are worded in the reader's language too.

    >>> Translatable("{dough} has no flour", dough="Poolish")
    'Poolish has no flour'
    """

    sentence: str
    holes: Mapping[str, object]

    def __new__(cls, sentence: str, /, **holes: object) -> Self:
        made = super().__new__(cls, sentence.format_map(holes) if holes else sentence)
        made.sentence, made.holes = sentence, holes
        return made

    def __getnewargs_ex__(self) -> tuple[tuple[str], dict[str, object]]:  # for processes that hand errors on
        return (self.sentence,), dict(self.holes)


def harmless(text: str) -> str:
    """A text whose characters steer neither a terminal nor the direction of what stands beside them; lines stay.

    >>> harmless("rye" + chr(27) + "[31m, loaf" + chr(0x202E) + ".exe")
    'rye [31m, loaf .exe'
    """
    return "".join(each if each == "\n" or unicodedata.category(each)[0] != "C" else " " for each in text)


class Number(str):
    """A number in such a text, written by a format such as ``.1f``; its decimal mark is the reader's.

    >>> Number(25.34, ".1f")
    '25.3'
    """

    def __new__(cls, value: float | str, spec: str = "") -> Self:
        return super().__new__(cls, format(value, spec))


def joined(parts: Iterable[str], between: str) -> Translatable:
    """Several texts as one.

    >>> joined([Translatable("no salt"), Translatable("no flour")], "; ")
    'no salt; no flour'
    """
    holes = {f"part_{place}": part for place, part in enumerate(parts)}
    return Translatable(between.join(f"{{{name}}}" for name in holes), **holes)
