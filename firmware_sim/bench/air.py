"""Where a dough stands: air temperature and humidity over time, in a room, a cabinet, a refrigerator or a warm corner.

The swings are judgement: ordinary sizes for a kitchen, chosen so that the air is never quite steady.
"""

import random
from collections.abc import Callable
from dataclasses import dataclass
from math import exp, pi, sin

Course = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class Air:
    """The air round a dough; both are functions of the seconds after the start.

    Attributes
    ----------
    start_c
        Temperature a dough has if it has stood long in the place before; None: as it was mixed.
    moves
        (seconds, where to) of each move to other air.
    """

    temp_c: Course
    humidity_pct: Course
    start_c: float | None = None
    moves: tuple[tuple[float, str], ...] = ()


def _wave(rng: random.Random, size: float, period_min: float) -> Course:
    phase = rng.uniform(0.0, 2.0 * pi)
    period_s = 60.0 * period_min * rng.uniform(0.8, 1.25)
    return lambda at_s: size * sin(2.0 * pi * at_s / period_s + phase)


def _blend(at_s: float, centre_s: float, width_s: float) -> float:
    """0 before, 1 after, a smooth step between."""
    return 1.0 / (1.0 + exp(-max(-60.0, min(60.0, (at_s - centre_s) / width_s))))


def _room(temp_c: float, rng: random.Random) -> Air:
    slow, quick = _wave(rng, 0.35, 95.0), _wave(rng, 0.12, 17.0)
    damp, base_pct = _wave(rng, 3.0, 120.0), rng.uniform(48.0, 62.0)
    return Air(lambda at_s: temp_c + slow(at_s) + quick(at_s), lambda at_s: base_pct + damp(at_s))


def _drift(from_c: float, to_c: float, rng: random.Random) -> Air:
    room = _room(0.0, rng)
    centre_s, width_s = rng.uniform(4500.0, 9000.0), 2000.0

    def temp_c(at_s: float) -> float:
        return from_c + (to_c - from_c) * _blend(at_s, centre_s, width_s) + room.temp_c(at_s)

    return Air(temp_c, room.humidity_pct)


def _cabinet(temp_c: float, rng: random.Random) -> Air:
    cycle = _wave(rng, 0.7, 12.0)
    damp = _wave(rng, 2.5, 12.0)
    doors, at = [], 0.0
    while at < 24 * 3600.0:
        at += rng.uniform(35.0, 80.0) * 60.0
        doors.append((at, rng.uniform(2.5, 6.0)))
    recover_s = 240.0

    def door(at_s: float) -> float:
        return sum(size * exp(-(at_s - open_s) / recover_s) for open_s, size in doors if 0 <= at_s - open_s < 3600.0)

    return Air(
        lambda at_s: temp_c + cycle(at_s) - door(at_s),
        lambda at_s: max(35.0, min(96.0, 78.0 + damp(at_s) - 5.0 * door(at_s))),
    )


def _corner(temp_c: float, rng: random.Random) -> Air:
    """A warm corner beside an oven: warm, dry, and it swings with the oven."""
    swing, slow = _wave(rng, 1.2, 35.0), _wave(rng, 0.6, 110.0)
    damp = _wave(rng, 3.0, 60.0)
    return Air(lambda at_s: temp_c + swing(at_s) + slow(at_s), lambda at_s: 46.0 + damp(at_s))


def _refrigerated(room_c: float, cold_c: float, in_s: float, out_s: float, rng: random.Random) -> Air:
    """Room air, then a refrigerator between two moments, then room air again."""
    room, hum = _room(room_c, rng), _wave(rng, 0.5, 25.0)

    def is_cold(at_s: float) -> bool:
        return in_s <= at_s < out_s

    moves = [(in_s, "refrigerator")] if in_s > 0 else []
    if 0 < out_s < float("inf"):
        moves.append((out_s, "room"))
    return Air(
        lambda at_s: cold_c + hum(at_s) if is_cold(at_s) else room.temp_c(at_s),
        lambda at_s: 70.0 + 3.0 * hum(at_s) if is_cold(at_s) else room.humidity_pct(at_s),
        moves=tuple(moves),
    )


def air_named(text: str, seed: int) -> Air:
    """The air that a short description names.

    Parameters
    ----------
    text
        ``steady:24`` | ``drift:21:26`` | ``cabinet:28`` | ``warm:33`` | ``fridge-out:4:24`` (cold dough into a warm
        room) | ``fridge-in:24:4:60`` (into the cold after 60 min) | ``retard:24:4:60:540`` (in after 60, out after
        540 min); temperatures in C.
    seed
        Of the swings.

    Raises
    ------
    ValueError
        When the description is none of these.
    """
    rng = random.Random(f"air {text} {seed}")
    kind, _, rest = text.partition(":")
    try:
        numbers = [float(part) for part in rest.split(":")]
        if kind == "steady" and len(numbers) == 1:
            return _room(numbers[0], rng)
        if kind == "drift" and len(numbers) == 2:
            return _drift(numbers[0], numbers[1], rng)
        if kind == "cabinet" and len(numbers) == 1:
            return _cabinet(numbers[0], rng)
        if kind == "warm" and len(numbers) == 1:
            return _corner(numbers[0], rng)
        if kind == "fridge-out" and len(numbers) == 2:
            warm = _room(numbers[1], rng)
            return Air(warm.temp_c, warm.humidity_pct, start_c=numbers[0])
        if kind == "fridge-in" and len(numbers) == 3:
            return _refrigerated(numbers[0], numbers[1], 60.0 * numbers[2], float("inf"), rng)
        if kind == "retard" and len(numbers) == 4:
            return _refrigerated(numbers[0], numbers[1], 60.0 * numbers[2], 60.0 * numbers[3], rng)
    except ValueError as err:
        raise ValueError(f"room {text!r}: what follows the colon must be numbers") from err
    raise ValueError(
        f"room {text!r} is not known; give steady:C, drift:C:C, cabinet:C, warm:C, fridge-out:C:C, fridge-in:C:C:MIN "
        "or retard:C:C:MIN:MIN"
    )
