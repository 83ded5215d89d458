"""What if: a dough in other air to come; and the other way round, which air makes it ready when it is wanted."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from monitor.dough.climate import AirStep
from monitor.dough.forecast import outlook
from monitor.dough.learning import Learned
from monitor.dough.outlook import Outlook
from monitor.dough.track import Track
from monitor.recipe.batch import Batch

COLDEST_AIR_C = 2.0  # judgement: the cold end of a refrigerator
WARMEST_AIR_C = 38.0  # judgement: beyond the warmest usual proof nobody should go to save time
NEAR_ENOUGH = timedelta(minutes=2)
MOST_TRIALS = 14  # halves 36 C down to less than 0.01 C, and a night down to seconds
HORIZON = timedelta(hours=36)


@dataclass(frozen=True, slots=True)
class Plan:
    """Something the baker can do, and how the dough would then stand.

    Attributes
    ----------
    ahead
        The air that the plan means.
    air_temp_c, out_at
        What was asked for: the air temperature [C], or the moment out of the refrigerator; the other is None.
    outlook
        The outlook under the plan, with the doubt of its ready moment.
    """

    ahead: tuple[AirStep, ...]
    air_temp_c: float | None
    out_at: datetime | None
    outlook: Outlook


def cold_spell(in_at: datetime, out_at: datetime | None, *, cold_c: float, room_c: float) -> tuple[AirStep, ...]:
    """The air of a dough that goes into the refrigerator and, unless ``out_at`` is None, comes back to the room. [C]"""
    return (AirStep(in_at, cold_c), *(() if out_at is None else (AirStep(out_at, room_c),)))


def foretold(
    batch: Batch, track: Track, at: datetime, ahead: tuple[AirStep, ...] = (), *, learned: Learned | None = None
) -> Outlook:
    """How a running batch would stand in the air to come, as far ahead as anybody asks here."""
    return outlook(batch, track, at, horizon=HORIZON, ahead=ahead, learned=learned)


def _ready(found: Outlook) -> datetime:
    """Middle of the ready moment; far away when it lies beyond the horizon or at never."""
    return found.ready.p50 or found.at + 2 * HORIZON


def _halving(
    low: float, high: float, plan_at: Callable[[float], Plan], wanted_at: datetime, *, falls: bool
) -> Plan | None:
    """The plan between two ends whose dough is ready when wanted; None when both ends miss it on the same side."""

    def miss(plan: Plan) -> float:
        return (_ready(plan.outlook) - wanted_at).total_seconds() * (1.0 if falls else -1.0)

    near = NEAR_ENOUGH.total_seconds()
    at_low, at_high = plan_at(low), plan_at(high)
    for plan in (at_low, at_high):
        if abs(miss(plan)) <= near:
            return plan
    if miss(at_low) < 0.0 or miss(at_high) > 0.0:
        return None
    plan = at_low
    for _ in range(MOST_TRIALS):
        middle = 0.5 * (low + high)
        plan = plan_at(middle)
        if abs(miss(plan)) <= near:
            break
        low, high = (middle, high) if miss(plan) > 0.0 else (low, middle)
    return plan


def air_for(
    batch: Batch, track: Track, at: datetime, wanted_at: datetime, *, learned: Learned | None = None
) -> Plan | None:
    """The air temperature, from now on, that makes the dough ready at a wanted moment.

    Parameters
    ----------
    learned
        As for :func:`~monitor.dough.forecast.outlook`.

    Returns
    -------
    Plan or None
        None when no air between ``COLDEST_AIR_C`` and ``WARMEST_AIR_C`` does it.
    """

    def plan_at(air_temp_c: float) -> Plan:
        ahead = (AirStep(at, air_temp_c),)
        return Plan(ahead, air_temp_c, None, foretold(batch, track, at, ahead, learned=learned))

    return _halving(COLDEST_AIR_C, WARMEST_AIR_C, plan_at, wanted_at, falls=True)


def out_of_cold_for(
    batch: Batch,
    track: Track,
    at: datetime,
    wanted_at: datetime,
    *,
    in_at: datetime,
    cold_c: float,
    room_c: float,
    learned: Learned | None = None,
) -> Plan | None:
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
    Plan or None
        None when it would be ready too early or too late whatever the moment.
    """

    def plan_at(out_s: float) -> Plan:
        out_at = in_at + timedelta(seconds=out_s)
        ahead = cold_spell(in_at, out_at, cold_c=cold_c, room_c=room_c)
        return Plan(ahead, None, out_at, foretold(batch, track, at, ahead, learned=learned))

    longest_s = (wanted_at - in_at).total_seconds()
    return _halving(0.0, longest_s, plan_at, wanted_at, falls=False) if longest_s > 0.0 else None
