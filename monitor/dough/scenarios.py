"""What if: a dough in other air to come; and the other way round, which air makes it ready when it is wanted."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from monitor.dough.forecast import outlook
from monitor.dough.learning import RecipeExperience
from monitor.dough.outlook import Outlook
from monitor.dough.temperature import AirStep
from monitor.dough.track import Track
from monitor.recipe.batch import Batch

COLDEST_AIR_C = 2.0  # judgement: the cold end of a refrigerator
WARMEST_AIR_C = 38.0  # judgement: beyond the warmest usual proof nobody should go to save time
NEAR_ENOUGH = timedelta(minutes=2)
MOST_TRIALS = 14  # halves 36 C down to less than 0.01 C, and a night down to seconds
HORIZON = timedelta(hours=36)


@dataclass(frozen=True, slots=True)
class Scenario:
    """Something the baker can do, and how the dough would then stand.

    Attributes
    ----------
    ahead
        The air that the scenario means.
    air_temp_c, out_at
        What was asked for: the air temperature [C], or the moment out of the refrigerator; the other is None.
    outlook
        The outlook under the scenario, with the doubt of its ready moment.
    """

    ahead: tuple[AirStep, ...]
    air_temp_c: float | None
    out_at: datetime | None
    outlook: Outlook


def cold_spell(in_at: datetime, out_at: datetime | None, *, cold_c: float, room_c: float) -> tuple[AirStep, ...]:
    """The air of a dough that goes into the refrigerator and, unless ``out_at`` is None, comes back to the room. [C]"""
    return (AirStep(in_at, cold_c), *(() if out_at is None else (AirStep(out_at, room_c),)))


def scenario_outlook(
    batch: Batch,
    track: Track,
    at: datetime,
    ahead: tuple[AirStep, ...] = (),
    *,
    learned: RecipeExperience | None = None,
) -> Outlook:
    """How a running batch would stand in the air to come, as far ahead as anybody asks here."""
    return outlook(batch, track, at, horizon=HORIZON, ahead=ahead, learned=learned)


def _ready(found: Outlook) -> datetime:
    """Middle of the ready moment; far away when it lies beyond the horizon or at never."""
    return found.ready.p50 or found.at + 2 * HORIZON


def _halving(
    low: float, high: float, scenario_at: Callable[[float], Scenario], wanted_at: datetime, *, falls: bool
) -> Scenario | None:
    """The scenario between two ends whose dough is ready when wanted; None when both ends miss it on the same side."""

    def miss(scenario: Scenario) -> float:
        return (_ready(scenario.outlook) - wanted_at).total_seconds() * (1.0 if falls else -1.0)

    near = NEAR_ENOUGH.total_seconds()
    at_low, at_high = scenario_at(low), scenario_at(high)
    for scenario in (at_low, at_high):
        if abs(miss(scenario)) <= near:
            return scenario
    if miss(at_low) < 0.0 or miss(at_high) > 0.0:
        return None
    scenario = at_low
    for _ in range(MOST_TRIALS):
        middle = 0.5 * (low + high)
        scenario = scenario_at(middle)
        if abs(miss(scenario)) <= near:
            break
        low, high = (middle, high) if miss(scenario) > 0.0 else (low, middle)
    return scenario


def air_for(
    batch: Batch, track: Track, at: datetime, wanted_at: datetime, *, learned: RecipeExperience | None = None
) -> Scenario | None:
    """The air temperature, from now on, that makes the dough ready at a wanted moment.

    Parameters
    ----------
    learned
        As for :func:`~monitor.dough.forecast.outlook`.

    Returns
    -------
    Scenario or None
        None when no air between ``COLDEST_AIR_C`` and ``WARMEST_AIR_C`` does it.
    """

    def scenario_at(air_temp_c: float) -> Scenario:
        ahead = (AirStep(at, air_temp_c),)
        return Scenario(ahead, air_temp_c, None, scenario_outlook(batch, track, at, ahead, learned=learned))

    return _halving(COLDEST_AIR_C, WARMEST_AIR_C, scenario_at, wanted_at, falls=True)


def out_of_cold_for(
    batch: Batch,
    track: Track,
    at: datetime,
    wanted_at: datetime,
    *,
    in_at: datetime,
    cold_c: float,
    room_c: float,
    learned: RecipeExperience | None = None,
) -> Scenario | None:
    """When to take a dough out of the refrigerator so that it is ready at a wanted moment.

    Parameters
    ----------
    in_at
        When it goes in, now or later.
    cold_c, room_c
        Air in the refrigerator, and of the room it comes back to. [C]
    learned
        As for :func:`~monitor.dough.forecast.outlook`.

    Returns
    -------
    Scenario or None
        None when it would be ready too early or too late whatever the moment.
    """

    def scenario_at(out_s: float) -> Scenario:
        out_at = in_at + timedelta(seconds=out_s)
        ahead = cold_spell(in_at, out_at, cold_c=cold_c, room_c=room_c)
        return Scenario(ahead, None, out_at, scenario_outlook(batch, track, at, ahead, learned=learned))

    longest_s = (wanted_at - in_at).total_seconds()
    return _halving(0.0, longest_s, scenario_at, wanted_at, falls=False) if longest_s > 0.0 else None
