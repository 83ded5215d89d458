"""How things are told, from the settings: the clock's zone and dial, the units, the language.

.. code-block:: toml

    timezone = "Europe/Vienna"    # left out: this machine's own
    clock = "24"                  # or "12"
    temp_unit = "C"               # or "F": the scale that comes first
    mass_unit = "g"               # or "oz"
    language = "en"               # or another of which there is a file in monitor/languages
"""

import difflib
from collections.abc import Mapping, Sequence
from datetime import UTC, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from babel.localtime import get_localzone

from monitor.translatable import Translatable
from monitor.wording.languages.catalogue import KNOWN, language
from monitor.wording.reader import Reader

KEYS = ("timezone", "clock", "temp_unit", "mass_unit", "language")
"""The settings that this module reads, all at the top of the file."""


def local_zone() -> tzinfo:
    """This machine's own time zone, with its changes of the clock."""
    try:
        return get_localzone()
    except LookupError:  # the environment names a zone that nobody knows
        return UTC


def reader_from(table: Mapping[str, object]) -> tuple[Reader, list[str]]:
    """How things are told by a settings file, and what is wrong with it."""
    faults: list[str] = []
    reader = Reader(
        zone=_zone(table.get("timezone"), faults),
        temp_unit=_one_of(table, "temp_unit", ("C", "F"), faults),
        mass_unit=_one_of(table, "mass_unit", ("g", "oz"), faults),
        clock=_one_of(table, "clock", ("24", "12"), faults),
        language=language(_one_of(table, "language", tuple(KNOWN), faults)),
    )
    return reader, faults


def settings_lines(reader: Reader) -> list[str]:
    """These settings as they are in force, one a line."""
    return [
        f"timezone = {reader.zone}",
        f"clock = {reader.clock}",
        f"temp_unit = {reader.temp_unit}",
        f"mass_unit = {reader.mass_unit}",
        f"language = {reader.language.code}",
    ]


def _one_of(table: Mapping[str, object], key: str, known: Sequence[str], faults: list[str]) -> str:
    """The value of a setting with few answers, the first of which is the usual one."""
    value = table.get(key, known[0])
    if isinstance(value, int) and str(value) in known:  # clock = 12, without its quotes, says the same
        return str(value)
    if value in known:
        return str(value)
    near = next((each for each in known if each.casefold() == str(value)[: len(each)].casefold()), None)
    listed = Translatable("known here: {known}", known=", ".join(known))
    hint = Translatable("did you mean {near!r}?", near=near) if near else listed
    faults.append(Translatable("{key} = {value!r} is not known; {hint}", key=key, value=value, hint=hint))
    return known[0]


def _zone(name: object, faults: list[str]) -> tzinfo:
    if name is None:
        return local_zone()
    try:
        return ZoneInfo(str(name))
    except (ZoneInfoNotFoundError, ValueError, OSError):
        near = difflib.get_close_matches(str(name), available_timezones(), n=1)
        named = Translatable("a zone is named as in 'Europe/Vienna'")
        hint = Translatable("did you mean {near!r}?", near=near[0]) if near else named
        faults.append(
            Translatable("timezone = {name!r} is not a zone this machine knows; {hint}", name=name, hint=hint)
        )
        return UTC
