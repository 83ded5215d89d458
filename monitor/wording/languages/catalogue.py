"""A language by its code, from its translation file (gettext's PO format) and what CLDR knows of days and numbers.

Babel is loaded with the first language that needs it: with its data it takes 6 MB, which English does without.
"""

import re
from functools import cache
from gettext import c2py
from pathlib import Path
from types import MappingProxyType

from monitor.wording.reader import ENGLISH, Language

FOLDER = Path(__file__).parent
HEADER_LETTERS = 2000
_NAME = re.compile(r'^"X-Language-Name: (.+)\\n"$', re.MULTILINE)


def _own_name(path: Path) -> str:
    """What a language calls itself, by the header of its file; its code where that does not say."""
    with path.open(encoding="utf-8") as file:
        found = _NAME.search(file.read(HEADER_LETTERS))
    return path.stem if found is None else found[1]


KNOWN = {"en": "English", **{path.stem: _own_name(path) for path in sorted(FOLDER.glob("*.po"))}}
"""Codes of the languages there are, each with its own name for itself."""


@cache
def language(code: str) -> Language:
    """The language of a code in ``KNOWN``; read once."""
    if code == ENGLISH.code:
        return ENGLISH
    from babel import Locale
    from babel.messages.pofile import read_po

    with (FOLDER / f"{code}.po").open("rb") as file:
        catalogue = read_po(file, locale=code, abort_invalid=True)
    sentences: dict[str, tuple[str, ...]] = {}
    for message in catalogue:
        if message.id and not message.fuzzy:
            forms = message.string if isinstance(message.string, tuple | list) else (message.string,)
            translated = tuple(str(form or "") for form in forms)
            if all(translated):
                sentences[str(message.id[0] if message.pluralizable else message.id)] = translated
    locale = Locale(code)
    days = locale.days["format"]["wide"]
    return Language(
        code,
        MappingProxyType(sentences),
        c2py(catalogue.plural_expr),
        tuple(days[place] for place in range(7)),
        locale.number_symbols["latn"]["decimal"],
    )
