"""How a finished stage came out, what drove it, and what to change next time: facts, from where its minutes went."""

from dataclasses import dataclass
from enum import StrEnum

from monitor.dough.causes import Account
from monitor.dough.gassing import leavening_pct
from monitor.dough.outlook import Band
from monitor.recipe.batch import Batch
from monitor.recipe.intent import Verdict

ON_TIME_MIN = 10.0  # judgement: nobody is nearer to the minute with floury hands
WORTH_MIN = 5.0  # judgement: a cause worth less is not worth a line
WATER_PER_DOUGH = 3.0  # the trade's rule of sums: flour, room and water (see ``recipe.formula.water_temp_c``)
MOST_WATER_C = 12.0  # judgement: from a tap's usual to near ice, or to what yeast bears


class Timing(StrEnum):
    """When a dough was taken, against what its stage waited for."""

    EARLY = "early"
    JUST_BEFORE = "just before"
    ON_TIME = "on time"
    LATE = "late"


@dataclass(frozen=True, slots=True)
class StageOutcome:
    """How a finished stage came out.

    Attributes
    ----------
    late_min
        From what the stage waited for to when it was taken; negative when it was taken before. [min]
    proof
        Under, right or over: the baker's word, or else over where the curve shows it. None: nobody can say.
    """

    late_min: float
    proof: Verdict | None

    @property
    def timing(self) -> Timing:
        """The same in a code, with ten minutes for floury hands."""
        if abs(self.late_min) <= ON_TIME_MIN:
            return Timing.ON_TIME if self.late_min >= 0.0 else Timing.JUST_BEFORE
        return Timing.LATE if self.late_min > 0.0 else Timing.EARLY

    @property
    def is_off(self) -> bool:
        """True when it was taken clearly before or after."""
        return self.timing in (Timing.EARLY, Timing.LATE)


def late_min(account: Account, batch: Batch) -> float:
    """Minutes from what the stage waited for to when it was taken, negative when it was taken before. [min]

    Where it had not come by then, when it was to come as things stood.
    """
    came = account.peak_min if batch.target.is_peak else account.ready_min
    if came is not None:
        return account.taken_min - came.p50
    strayed = (account.warmth_min, account.yeast_min, account.rest_min)
    return account.taken_min - (account.plan_min + sum(cause.p50 for cause in strayed if cause is not None))


def outcome_of(account: Account, batch: Batch, verdict: Verdict | None) -> StageOutcome:
    """The outcome of a stage; the baker's verdict, once there is one, has the last word."""
    late = late_min(account, batch)
    is_past_peak = account.peak_min is not None and account.taken_min - account.peak_min.p50 > ON_TIME_MIN
    is_over = verdict is None and is_past_peak and late > ON_TIME_MIN
    return StageOutcome(late, Verdict.OVER if is_over else verdict)


# -- what drove it --------------------------------------------------------------------------------------------------


class Driver(StrEnum):
    """What made a dough ready earlier or later than planned."""

    WARM_DOUGH = "warm dough"
    COLD_DOUGH = "cold dough"
    YEAST = "yeast"
    DOUGH = "dough"  # the dough itself: flour, starter, hands, whatever is left


def drivers(account: Account) -> list[tuple[Driver, Band]]:
    """What moved the moment, by how many minutes: the greatest first, those worth nothing left out."""
    warmth = Driver.WARM_DOUGH if account.warmer_c > 0.0 else Driver.COLD_DOUGH
    worths = [(warmth, account.warmth_min), (Driver.YEAST, account.yeast_min), (Driver.DOUGH, account.rest_min)]
    found = [(driver, band) for driver, band in worths if band is not None and abs(band.p50) >= WORTH_MIN]
    return sorted(found, key=lambda each: -abs(each[1].p50))


# -- what to change -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class KeepToPlan:
    """Kept to what was planned, this dough would have been ready after so many minutes."""

    ready_min: Band


@dataclass(frozen=True, slots=True)
class ChangeTemperature:
    """Dough of another temperature throughout would be ready as planned.

    Attributes
    ----------
    dough_temp_c
        Wanted. [C]
    change_c
        From what the dough was. [C]
    """

    dough_temp_c: float
    change_c: float

    @property
    def water_change_c(self) -> float:
        """What the water must change for it, by the trade's rule of sums. [C]"""
        return WATER_PER_DOUGH * self.change_c

    @property
    def is_water_enough(self) -> bool:
        """False when no water can be so cold or so warm."""
        return abs(self.water_change_c) <= MOST_WATER_C


@dataclass(frozen=True, slots=True)
class ChangeYeast:
    """Another share of its leavening would make it ready as planned. Percentages are instant yeast on the flour."""

    frac: float
    made_pct: float

    @property
    def wanted_pct(self) -> float:
        """What to weigh in, as instant yeast on the flour. [%]"""
        return self.made_pct * self.frac


@dataclass(frozen=True, slots=True)
class MakeAgain:
    """Made the same again it will be ready after so many minutes."""

    ready_min: Band


@dataclass(frozen=True, slots=True)
class MoveTarget:
    """By the baker's verdicts the target rise belongs elsewhere. [%]"""

    best_pct: Band
    stood_pct: float


Advice = KeepToPlan | ChangeTemperature | ChangeYeast | MakeAgain | MoveTarget


def advice(account: Account, batch: Batch, best_rise_pct: Band | None) -> list[Advice]:
    """What to change next time, in the numbers a baker sets.

    Parameters
    ----------
    best_rise_pct
        See :func:`monitor.dough.verdicts.best_rise_pct`; None without verdicts.
    """
    found: list[Advice] = []
    came = account.peak_min if batch.target.is_peak else account.ready_min
    if came is not None:
        strayed = [cause for cause in (account.warmth_min, account.yeast_min) if cause is not None]
        if any(abs(cause.p50) >= WORTH_MIN for cause in strayed):
            rest = account.rest_min
            found.append(KeepToPlan(Band(*(account.plan_min + each for each in (rest.p05, rest.p50, rest.p95)))))
        if abs(came.p50 - account.plan_min) > ON_TIME_MIN:
            if account.wanted_temp_c is not None:
                had_c = account.intent.dough_temp_c + account.warmer_c
                found.append(ChangeTemperature(account.wanted_temp_c, account.wanted_temp_c - had_c))
            if account.wanted_yeast_frac is not None:
                found.append(ChangeYeast(account.wanted_yeast_frac, leavening_pct(batch.formula) or 0.0))
        found.append(MakeAgain(came))
    if best_rise_pct is not None and batch.target.rise_pct is not None:
        found.append(MoveTarget(best_rise_pct, batch.target.rise_pct))
    return found
