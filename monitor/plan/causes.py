"""Why a dough is out earlier or later than planned: what of it has moved most, in the direction in which it moved."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from enum import StrEnum

from monitor.plan.day import DoughPlan
from monitor.plan.live import OTHER_AIR_C, AirDifference
from monitor.plan.orders import predecessors_of

LEAST_MIN = 2.0  # a plan is made in whole minutes: less is no cause
MOST = 2  # whoever reads a message with a tray in hand reads no third reason


class CauseKind(StrEnum):
    """What can move a dough."""

    AIR = "air"  # the place is not as planned
    DOUGH = "dough"  # a stage is quicker or slower, though its air is as planned or would say the opposite
    BEGUN = "begun"  # hands came earlier or later
    OVEN = "oven"  # it waits for the oven
    BACK = "back"  # it is nearer again to what was planned


@dataclass(frozen=True, slots=True)
class Cause:
    """What has moved a dough.

    Attributes
    ----------
    minutes
        By how much later; negative: earlier. [min]
    stage
        Number of the stage it is about, or most about; None: of the oven, or of all of it.
    air
        Only where the air is the cause.
    """

    kind: CauseKind
    minutes: float
    stage: int | None = None
    air: AirDifference | None = None


def causes_of(made: DoughPlan, live: DoughPlan, planned_air_c: dict[str, float], shift: timedelta) -> tuple[Cause, ...]:
    """What explains a shift, with the same sign: the greatest, and another that is half as great or more.

    Empty when nothing that is known does.

    Parameters
    ----------
    made, live
        The dough as it was planned, and as it is.
    planned_air_c
        The air that each place was planned with. [C]
    shift
        By how much later it is out than was last said.
    """
    in_all = live.out_at - made.out_at
    if in_all * (shift / timedelta(minutes=1)) < timedelta():
        return (Cause(CauseKind.BACK, _minutes(shift)),)
    by_what: dict[object, Cause] = {}
    for each in _causes(made, live, planned_air_c):
        what = (each.kind, None if each.air is None else each.air.place)
        known = by_what.get(what, each)
        greater = max(known, each, key=lambda cause: abs(cause.minutes))
        both_min = each.minutes if known is each else known.minutes + each.minutes
        by_what[what] = replace(greater, minutes=both_min)
    same = [each for each in by_what.values() if each.minutes * _minutes(shift) > 0.0]
    same.sort(key=lambda each: -abs(each.minutes))
    least_min = max(LEAST_MIN, abs(same[0].minutes) / 2.0) if same else 0.0
    return tuple(each for each in same if abs(each.minutes) >= least_min)[:MOST]


def _causes(made: DoughPlan, live: DoughPlan, planned_air_c: dict[str, float]) -> Iterator[Cause]:
    befores = predecessors_of(made.recipe)
    for was, now in zip(made.stages, live.stages, strict=True):
        place = made.method(was).place
        air = AirDifference(place, planned_air_c[place], now.air_c)
        slower_min = (now.forecast.ready.p50 or 0.0) - (was.forecast.ready.p50 or 0.0)
        # Warmer air makes a dough quicker: what is slower in warmer air is so for another reason.
        is_air = abs(air.difference_c) >= OTHER_AIR_C and air.difference_c * slower_min < 0.0
        yield Cause(CauseKind.AIR if is_air else CauseKind.DOUGH, slower_min, was.number, air if is_air else None)
        begins_min = _minutes(now.begins_at - was.begins_at)
        ready_min = max((_ready_later_min(made, live, each) for each in befores[was.number]), default=0.0)
        by_hand_min = begins_min - ready_min  # a wait that was planned takes up what is ready later
        yield Cause(CauseKind.BEGUN, by_hand_min if by_hand_min * begins_min > 0.0 else 0.0, was.number)
    for was_load, load in list(zip(made.loads, live.loads, strict=True))[-1:]:
        waits = (load.in_at - load.opens_at) - (was_load.in_at - was_load.opens_at)
        yield Cause(CauseKind.OVEN, _minutes(waits))


def _ready_later_min(made: DoughPlan, live: DoughPlan, number: int) -> float:
    was_at, now_at = made.stages[number].ready_at, live.stages[number].ready_at
    return 0.0 if was_at is None or now_at is None else _minutes(now_at - was_at)


def _minutes(span: timedelta) -> float:
    return span.total_seconds() / 60.0
