"""What a word on the command line may be: a length of time, a moment, a temperature, a weight, seeds.

Each kind is a function that reads the word, and the parameter type made of it. What a function refuses it refuses with
an example of what is right.
"""

import re
from collections.abc import Callable
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from typing import Generic, TypeVar

import click

from monitor.recipe.measures import GRAMS, MILLILITRES, Amount, amount_of, feed_ratio
from monitor.units import celsius

Value = TypeVar("Value")


_UNITS_S = {"s": 1, "m": 60, "h": 3600}


class Place(click.Path):
    """A file or folder, absolute: what is started here may run in another folder."""

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        return Path(str(super().convert(str(value), param, ctx))).absolute()


class Word(click.ParamType[Value], Generic[Value]):
    """A word read by a function that raises ``ValueError`` for what it cannot read; helps show it as ``shown``."""

    def __init__(self, read: Callable[[str], Value], shown: str) -> None:
        self.name = shown
        self._read = read

    def get_metavar(self, param: click.Parameter, ctx: click.Context) -> str:
        return self.name

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> Value:
        try:
            return self._read(str(value))
        except ValueError as err:
            self.fail(str(err), param, ctx)


def duration(text: str) -> timedelta:
    """A length of time written as a number with ``s``, ``m`` or ``h``.

    Examples
    --------
    >>> duration("5m")
    datetime.timedelta(seconds=300)
    """
    match = re.fullmatch(r"(\d+(?:\.\d+)?)([smh])", text.strip())
    if match is None or float(match[1]) <= 0:
        raise ValueError(f"{text!r} must be a number above 0 with s, m or h, such as 30s, 5m or 24h")
    return timedelta(seconds=float(match[1]) * _UNITS_S[match[2]])


def moment(text: str) -> datetime:
    """An RFC 3339 moment, as aware UTC.

    Examples
    --------
    >>> moment("2026-03-02T06:40:00+01:00").isoformat()
    '2026-03-02T05:40:00+00:00'
    """
    try:
        found = datetime.fromisoformat(text)
        if found.tzinfo is not None:
            return found.astimezone(UTC)
    except (ValueError, OverflowError):  # no moment, or one before or after all calendars once it is UTC
        pass
    raise ValueError(f"{text!r} must be a date and time with its offset, such as 2026-03-02T05:40:00Z")


def number(text: str) -> int:
    """The number of something that a list shows, as the store can hold it."""
    found = int(text) if re.fullmatch(r"\d{1,19}", text.strip()) else 0
    if not 0 < found < 2**63:
        raise ValueError(f"{text!r} must be a number that a list shows, such as 3")
    return found


def port(text: str) -> int:
    """The number of a network port."""
    found = int(text) if re.fullmatch(r"\d{1,5}", text.strip()) else 0
    if not 0 < found < 65536:
        raise ValueError(f"{text!r} must be the number of a port, such as 8501")
    return found


def positive(text: str) -> float:
    """A number above 0."""
    try:
        found = float(text)
    except ValueError:
        found = -1.0
    if not 0 < found < float("inf"):
        raise ValueError(f"{text!r} must be a number above 0")
    return found


def seeds(text: str) -> range:
    """Seeds written as ``FIRST:END``, the end left out.

    Examples
    --------
    >>> seeds("0:40")
    range(0, 40)
    """
    match = re.fullmatch(r"(\d{1,9}):(\d{1,9})", text.strip())
    if match is None or int(match[1]) >= int(match[2]):
        raise ValueError(f"{text!r} must be two numbers, the second larger, such as 0:40")
    return range(int(match[1]), int(match[2]))


def seeds_or_folder(text: str) -> range | Path:
    """Seeds as for :func:`seeds`, or else the path of a folder."""
    return seeds(text) if re.fullmatch(r"\s*\d+:\d+\s*", text) else Path(text)


def temperature(text: str) -> float:
    """A temperature in Celsius, or in Fahrenheit with an F. [C]

    Examples
    --------
    >>> temperature("27C"), round(temperature("80F"), 1)
    (27.0, 26.7)
    """
    match = re.fullmatch(r"(-?\d+(?:\.\d+)?)\s*°?([CF]?)", text.strip(), re.IGNORECASE)
    if match is None:
        raise ValueError(f"{text!r} must be a temperature such as 27C or 80F")
    temp_c = celsius(float(match[1])) if match[2].upper() == "F" else float(match[1])
    if not -20.0 <= temp_c <= 60.0:
        raise ValueError(f"{text!r} is no air that dough stands in: -20 to 60 C (-4 to 140 F)")
    return temp_c


def wall_time(text: str) -> time:
    """A time on the kitchen clock.

    Examples
    --------
    >>> wall_time("21:05")
    datetime.time(21, 5)
    """
    match = re.fullmatch(r"(\d{1,2}):(\d{2})", text.strip())
    if match is None or not (int(match[1]) < 24 and int(match[2]) < 60):
        raise ValueError(f"{text!r} must be a time such as 06:30 or 21:00")
    return time(int(match[1]), int(match[2]))


def weight(text: str) -> float:
    """A weight off the scales. [g]

    Examples
    --------
    >>> weight("1.5kg"), weight("450 g")
    (1500.0, 450.0)
    """
    try:
        amount = amount_of(text)
    except ValueError:
        amount = None
    if amount is None or amount.unit not in GRAMS or not 0.0 < amount.number < 1e7:
        raise ValueError(f"{text!r} must be a weight such as 450g, 1.5kg, 24oz or 2lb")
    return amount.number * GRAMS[amount.unit]


def pieces(text: str) -> tuple[int, float]:
    """Pieces and the weight of each, written as ``12x900g``; a bare weight is grams.

    Examples
    --------
    >>> pieces("12x900"), pieces("2 x 1.2kg")
    ((12, 900.0), (2, 1200.0))
    """
    match = re.fullmatch(r"\s*(\d{1,4})\s*[x×]\s*(\S.*?)\s*", text)
    if match is None or int(match[1]) == 0:
        raise ValueError(f"{text!r} must be pieces and their weight, such as 12x900g")
    each = match[2]
    return int(match[1]), weight(f"{each} g" if re.fullmatch(r"[\d.,]+", each) else each)


def temperature_difference(text: str) -> float:
    """A difference of temperatures in Celsius, or in Fahrenheit with an F. [C]

    Examples
    --------
    >>> temperature_difference("12C"), round(temperature_difference("36F"), 1)
    (12.0, 20.0)
    """
    match = re.fullmatch(r"(-?\d+(?:\.\d+)?)\s*°?([CF]?)", text.strip(), re.IGNORECASE)
    if match is None or abs(float(match[1])) > 200.0:
        raise ValueError(f"{text!r} must be a difference of temperatures such as 12C or 22F")
    return float(match[1]) * (5.0 / 9.0 if match[2].upper() == "F" else 1.0)


def named_temperature(text: str) -> tuple[str, float]:
    """A name and its temperature. [C]

    Examples
    --------
    >>> named_temperature("milk=5C")
    ('milk', 5.0)
    """
    name, sign, temp = text.rpartition("=")
    if not sign or not name.strip():
        raise ValueError(f"{text!r} must be a name and its temperature, such as milk=5C")
    return name.strip(), temperature(temp)


def yeast_amount(text: str) -> Amount:
    """An amount of yeast, by weight or by volume.

    Examples
    --------
    >>> yeast_amount("2 1/4 tsp").number, yeast_amount("20g").unit.value
    (2.25, 'g')
    """
    try:
        amount = amount_of(text)
    except ValueError:
        amount = None
    if amount is None or amount.unit not in {*GRAMS, *MILLILITRES} or not 0.0 < amount.number < 1e7:
        raise ValueError(f"{text!r} must be a weight such as 20g, or of dry yeast spoons such as '2 1/4 tsp'")
    return amount


FILE = Place()
FOLDER = Place(file_okay=False)

DURATION = Word(duration, "5m")
FEED = Word(feed_ratio, "1:5:5")
MOMENT = Word(moment, "TIME")
NAMED_TEMPERATURE = Word(named_temperature, "NAME=TEMP")
NUMBER = Word(number, "NUMBER")
PIECES = Word(pieces, "NxWEIGHT")
POSITIVE = Word(positive, "NUMBER")
SEEDS = Word(seeds, "A:B")
SEEDS_OR_FOLDER = Word(seeds_or_folder, "C:D")
TEMPERATURE = Word(temperature, "TEMP")
TEMPERATURE_DIFFERENCE = Word(temperature_difference, "TEMP")
PORT = Word(port, "PORT")
WALL_TIME = Word(wall_time, "HH:MM")
WEIGHT = Word(weight, "WEIGHT")
YEAST_AMOUNT = Word(yeast_amount, "AMOUNT")
