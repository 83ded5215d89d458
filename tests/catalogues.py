"""Sentences for translators, as Babel extracts them, and the catalogues that hold their translations."""

import string
import subprocess
import sys
import tempfile
from functools import cache
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po

ROOT = Path(__file__).resolve().parents[1]
LANGUAGES = ROOT / "monitor" / "wording" / "languages"


@cache
def extracted() -> Catalog:
    """Every sentence of the source, by the command of ``monitor/wording/README.md``."""
    with tempfile.TemporaryDirectory() as folder:
        template = Path(folder) / "sentences.pot"
        pybabel = [sys.executable, "-m", "babel.messages.frontend", "-q"]
        options = ["--mapping", "pyproject.toml", "--add-location", "file", "-o", str(template)]
        subprocess.run([*pybabel, "extract", *options, "."], cwd=ROOT, check=True, capture_output=True)
        with template.open("rb") as file:
            return read_po(file)


def catalogue(code: str) -> Catalog:
    """The catalogue of a language."""
    with (LANGUAGES / f"{code}.po").open("rb") as file:
        return read_po(file, locale=code, abort_invalid=True)


def forms(text: str | tuple[str, ...] | list[str]) -> tuple[str, ...]:
    """A sentence in each of its forms: one, or several for one that counts something."""
    return (text,) if isinstance(text, str) else tuple(text)


def keys_of(catalog: Catalog) -> set[str]:
    """The source sentences of a catalogue, by their first form."""
    return {forms(message.id)[0] for message in catalog if message.id}


def holes(text: str) -> set[str]:
    """The named holes of a sentence; braces that show what to write into a file are none."""
    return {name for _, name, _, _ in string.Formatter().parse(text) if name and name.isidentifier()}
