"""What a command answers a reader of German, and that it is German to the last word.

No word of the source's sentences remains that German has no use for.
"""

import functools
import re
import string
from pathlib import Path

import pytest
from catalogues import catalogue, extracted, forms

from monitor import cli


def words_of(text: str) -> set[str]:
    """Words of a text as it is read; not those within paths, addresses, names of files, options, and commands."""
    spoken = re.sub(r"`[^`]*`", "", text)
    return {token.casefold() for each in spoken.split() if (token := each.strip('.,:;()"')).isalpha()}


def literal(sentence: str) -> str:
    return " ".join(words for words, *_ in string.Formatter().parse(sentence))


@functools.cache
def english_words() -> set[str]:
    """Every word of the source's sentences that no German one has."""
    english, german = set[str](), set[str]()
    for message in extracted():
        english |= {word for text in forms(message.id) for word in words_of(literal(text))}
    for message in catalogue("de"):
        german |= {word for text in forms(message.string) for word in words_of(literal(text))}
    return english - german


def home(folder: Path, settings: str = "") -> Path:
    """A data directory of a reader of German."""
    folder.mkdir(exist_ok=True)
    (folder / "config.toml").write_text(f'timezone = "UTC"\nlanguage = "de"\n{settings}')
    return folder


def said(capsys: pytest.CaptureFixture[str], data_dir: Path, *words: object, status: int = 0) -> str:
    """What a command answers, on both of its ways out; German throughout."""
    capsys.readouterr()
    assert cli.main([*map(str, words), "--data-dir", str(data_dir)]) == status
    out, err = capsys.readouterr()
    told = out + err.partition(": ")[2]  # what comes before is the command's own name
    assert words_of(told) & english_words() == set(), told
    return told
