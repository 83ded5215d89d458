"""A recipe as somebody writes or pastes it: plain lines become a recipe file, and each fault of one has its line."""

import re
from collections.abc import Iterable
from dataclasses import dataclass

import tomlkit

from monitor.errors import ConfigError, UnfitError
from monitor.recipe.measures import amount_of
from monitor.translatable import N_

MOST_WORDS_OF_AN_AMOUNT = 3  # 2 1/4 tsp
NOT_A_FILE = re.compile(r"^\s*(?:\[|[\w\"' -]+\s*=)", re.MULTILINE)
_PLACE = re.compile(r"(?P<table>part|stage) (?P<number>\d+): (?:(?P<name>[^:]+): )?")
_SYNTAX = re.compile(r"\(at line (\d+), column \d+\)")


@dataclass(frozen=True, slots=True)
class Rises:
    """What a recipe in plain lines does not say: how far it rises, and how it is baked; None: not baked.

    Attributes
    ----------
    first_pct, final_pct
        Rise at which each stage is ready. [%]
    oven_c, minutes
        How hot and how long. [C, min]
    """

    first_pct: float
    final_pct: float
    oven_c: float | None = None
    minutes: float = 0.0


def is_plain(text: str) -> bool:
    """True for lines such as ``500 g flour``; false for what has keys and tables as a recipe file has."""
    return NOT_A_FILE.search(text) is None


def amount_and_name(line: str) -> tuple[str, str] | None:
    """An ingredient's amount and name from a line that has both, in either order; None where it has not.

    >>> amount_and_name("- 2 1/4 tsp fine salt"), amount_and_name("strong flour: 500g"), amount_and_name("for two tins")
    (('2 1/4 tsp', 'fine salt'), ('500g', 'strong flour'), None)
    """
    words = re.sub(r"^\s*[-*\u2022]\s+", "", line).split()
    for taken in range(MOST_WORDS_OF_AN_AMOUNT, 0, -1):
        for amount, name in ((words[:taken], words[taken:]), (words[-taken:], words[:-taken])):
            said = " ".join(amount)
            try:
                amount_of(said)
            except UnfitError:
                continue
            if name:
                return said, " ".join(name).strip(" ,:")
    return None


def file_of_lines(text: str, rises: Rises | None = None) -> str:
    """The recipe file of plain lines: a name on the first, an ingredient on each other.

    Raises
    ------
    ConfigError
        When a line is no ingredient, with its number.
    """
    title = ""
    ingredients = tomlkit.table()
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        found = amount_and_name(line)
        if found is not None:
            ingredients[found[1]] = found[0]
        elif not title:
            title = line.strip()
        else:
            raise ConfigError(
                N_("line {number}: {line!r} has no amount; write for example 500 g strong flour"),
                number=number,
                line=line.strip()[:60],
            )
    file = tomlkit.document()
    file["name"] = title
    part = tomlkit.table()
    part["name"] = "dough"
    part["ingredients"] = ingredients
    parts = tomlkit.aot()
    parts.append(part)
    file["part"] = parts
    if rises is not None:
        stages = tomlkit.aot()
        for stage, rise_pct in (("first rise", rises.first_pct), ("final proof", rises.final_pct)):
            row = tomlkit.table()
            row.update({"part": "dough", "stage": stage, "rise_pct": rise_pct})
            stages.append(row)
        file["stage"] = stages
        if rises.oven_c is not None:
            bake = tomlkit.table()
            bake.update({"minutes": rises.minutes, "oven_c": rises.oven_c})
            file["bake"] = bake
    return tomlkit.dumps(file)


def line_of(text: str, fault: str) -> int | None:
    """The line of a recipe file that a fault is about, from 1; None where no line can be told.

    A fault says where it is as the reader words it in English: ``stage 2: rise_pct = 900 must be``.
    """
    syntax = _SYNTAX.search(fault)
    if syntax is not None:
        return int(syntax[1])
    lines = text.splitlines()
    place = _PLACE.match(fault)
    if place is None:
        table, _, rest = fault.partition(".") if fault.startswith("bake.") else ("", "", fault)
        begin, end = _block(lines, rf"\[{table}\]", 1) if table else (0, len(lines))
    else:
        begin, end = _block(lines, rf"\[\[{place['table']}\]\]", int(place["number"]))
        rest = place["name"] or fault[place.end() :]
    key = re.match(r"[\w ]+?(?= = | is |$)", rest)
    for number in range(begin, end):
        if key is not None and re.match(rf"""\s*["']?{re.escape(key[0].strip())}["']?\s*=""", lines[number]):
            return number + 1
    return begin + 1 if begin or place is not None else None


def _block(lines: Iterable[str], head: str, number: int) -> tuple[int, int]:
    """From the line of a table's head to the next table of its kind or another's; the last line where there is none."""
    kept = list(lines)
    heads = [place for place, line in enumerate(kept) if re.match(rf"\s*{head}", line)]
    if len(heads) < number:
        return max(len(kept) - 1, 0), len(kept)
    begin = heads[number - 1]
    after = (
        place
        for place in range(begin + 1, len(kept))
        if re.match(r"\s*(?:\[\[(?:part|stage)\]\]|\[bake\])", kept[place])
    )
    return begin, next(after, len(kept))
