"""How long a stage will take, before it begins: the estimator's own forecast of a dough nobody has seen yet."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from math import pi

import numpy as np

from monitor.dough.forecast import outlook
from monitor.dough.gassing import gassing_cardinals
from monitor.dough.heat import dough_temp_from_air, vessel_time_constant_s
from monitor.dough.kinetics import equivalent_hours, relative_rate
from monitor.dough.learning import RecipeExperience
from monitor.dough.outlook import Moments
from monitor.dough.temperature import MIXED_DENSITY_G_ML, AirStep
from monitor.dough.track import Series, Track
from monitor.dough.warmth import WARM_C
from monitor.recipe.batch import Batch, BatchId, Stage, Target
from monitor.recipe.formula import Formula
from monitor.recipe.method import MethodStage, rise_left_pct
from monitor.recipe.parts import PartKind, Recipe
from monitor.recipe.vessel import Shape, Vessel

HORIZON = timedelta(hours=72)
ANY_MOMENT = datetime(2000, 1, 1, tzinfo=UTC)  # a forecast made ahead depends on no date
AFTER_PEAK_MIN = 60.0  # judgement: a preferment used within the hour after its peak is as good as at it
BY_THE_CLOCK_FRAC = 0.1  # judgement: a baker who says 12 h means 11 to 13
KEEPS_MIN = 24 * 60.0  # judgement: whatever the forecast says, nothing is planned to wait longer than a day
COLD_PIECES_KEEP_MIN = 30.0  # judgement: pieces still cold from the night lose nothing in half an hour more
COOLING_STEP_S = 600.0
COLD_ENOUGH_TAUS = 8.0  # after so many time constants a dough is as cold as its air


@dataclass(frozen=True, slots=True)
class Span:
    """Minutes from the beginning of a stage to something: 5, 25, 50, 75 and 95 % quantiles; None: not foreseeable."""

    p05: float | None = None
    p25: float | None = None
    p50: float | None = None
    p75: float | None = None
    p95: float | None = None

    def earlier(self, minutes: float) -> "Span":
        """The same, so much sooner, but not before the beginning."""
        moved = (None if each is None else max(each - minutes, 0.0) for each in self.quantiles)
        return Span(*moved)

    @property
    def quantiles(self) -> tuple[float | None, ...]:
        """All five, ascending."""
        return self.p05, self.p25, self.p50, self.p75, self.p95


@dataclass(frozen=True, slots=True)
class StageForecast:
    """What is expected of one stage.

    Attributes
    ----------
    ready
        When it has reached what it waits for; for a stage by the clock, its hours.
    closes_min
        When it should have gone on at the latest: where one in four would be past its peak, or where it is over the
        rise it is good to. [min]
    start_c, end_c
        The dough at the beginning, and when it is ready. [C]
    tau_min
        How slowly it follows the air. [min]
    warm_min
        Minutes above 5 C until it is ready.
    does
        For a stage by the clock, what it may do in its hours, as the minutes that would do as much with the usual
        dough; not foreseeable otherwise. [min]
    """

    ready: Span
    closes_min: float
    start_c: float
    end_c: float
    tau_min: float
    warm_min: float
    does: Span = Span()

    @property
    def ready_min(self) -> float | None:
        """The middle of ``ready``. [min]"""
        return self.ready.p50


def body_of(mass_g: float) -> Vessel:
    """A tub or loaf nobody has measured: round, half as high as it is wide (judgement)."""
    diameter_mm = (8.0 * mass_g / MIXED_DENSITY_G_ML * 1000.0 / pi) ** (1.0 / 3.0)
    return Vessel(Shape.ROUND, (diameter_mm, diameter_mm), (diameter_mm, diameter_mm), 2.0 * diameter_mm)


def mass_of(recipe: Recipe, stage: MethodStage, *, is_shaped: bool) -> float:
    """What warms and cools as one in a stage: a piece once shaped, all of the part before. [g]"""
    return recipe.each_g if is_shaped else recipe.part(stage.part).mass_g


def batch_of(recipe: Recipe, stage: MethodStage, mass_g: float, *, target: Target | None = None) -> Batch:
    """The stage as the estimator takes it, of so much dough."""
    formula = recipe.formula_of(recipe.part(stage.part))
    return Batch(
        id=BatchId(0),
        name=recipe.name,
        stage=stage.stage,
        started_at=ANY_MOMENT,
        vessel=body_of(mass_g),
        target=target or stage.target_left,
        formula=None if formula is None else formula.scaled_to_dough(mass_g),
        recipe=recipe.name,
    )


def _airs(stage: MethodStage, air_c: float, cold_c: float) -> tuple[AirStep, ...]:
    """The air of a stage: in the cold first when it is so, then where it stands."""
    if stage.cold_h <= 0.0:
        return (AirStep(ANY_MOMENT, air_c),)
    return (AirStep(ANY_MOMENT, cold_c), AirStep(ANY_MOMENT + timedelta(hours=stage.cold_h), air_c))


def _one(value: float) -> Series:
    return Series(np.array([0.0]), np.array([value]), np.array([np.nan]))


def _minutes(moments: Moments) -> Span:
    found = (moments.p05, moments.p25, moments.p50, moments.p75, moments.p95)
    return Span(*(None if at is None else (at - ANY_MOMENT).total_seconds() / 60.0 for at in found))


def forecast_stage(
    recipe: Recipe,
    stage: MethodStage,
    *,
    air_c: float,
    start_c: float,
    cold_c: float,
    is_shaped: bool = False,
    learned: RecipeExperience | None = None,
) -> StageForecast:
    """What is expected of a stage, by the same estimator that will watch it.

    Parameters
    ----------
    air_c, cold_c
        Where it stands, and in the refrigerator. [C]
    start_c
        The dough at the beginning. [C]
    is_shaped
        Whether it is in pieces by now.
    learned
        What finished batches of this recipe and stage taught.
    """
    mass_g = mass_of(recipe, stage, is_shaped=is_shaped)
    batch = batch_of(recipe, stage, mass_g)
    airs = _airs(stage, air_c, cold_c)
    seen = Track(air_temp_c=_one(airs[0].air_temp_c), dough_temp_c=_one(start_c))

    def forecast(target: Target) -> tuple[Span, Span]:
        with_target = batch_of(recipe, stage, mass_g, target=target)
        found = outlook(with_target, seen, ANY_MOMENT, horizon=HORIZON, ahead=airs, learned=learned)
        return _minutes(found.ready), _minutes(found.peak)

    ready, peak = forecast(stage.target_left)
    does = Span()
    if stage.hours is not None:
        hours_min = 60.0 * stage.hours
        if recipe.part(stage.part).kind is not PartKind.SOAKER:
            does = _does(hours_min, peak if peak.p50 is not None else ready)
        ready = Span(*[hours_min] * 5)
    closes = [KEEPS_MIN + (ready.p50 or 0.0)]
    if stage.longest_h is not None:
        closes.append(60.0 * stage.longest_h)
    elif stage.hours is not None:
        closes += _closes_by_the_clock(recipe, stage, stage.hours, peak)
    elif stage.target.is_peak:
        closes.append((peak.p50 or HORIZON.total_seconds() / 60.0) + AFTER_PEAK_MIN)
    elif peak.p25 is not None:
        closes.append(peak.p25)
    if stage.good_to_rise_pct is not None and stage.longest_h is None:
        good_to = Target(rise_left_pct(stage.good_to_rise_pct, stage.risen_pct))
        over = forecast(good_to)[0].p50  # as sure as ``ready``: their doubt is one and the same
        if over is not None:
            closes.append(over)
    ready_min = ready.p50 if ready.p50 is not None else HORIZON.total_seconds() / 60.0
    tau_s = vessel_time_constant_s(batch.vessel, mass_g)
    t_s = np.arange(0.0, ready_min * 60.0 + 60.0, 60.0)
    air = np.full(t_s.size, air_c)
    air[t_s < stage.cold_h * 3600.0] = cold_c
    dough_c = dough_temp_from_air(t_s, air, start_c, tau_s)
    return StageForecast(
        ready=ready,
        closes_min=max(min(closes), ready_min),
        start_c=start_c,
        end_c=float(dough_c[-1]),
        tau_min=tau_s / 60.0,
        warm_min=float(np.count_nonzero(dough_c > WARM_C)),
        does=does,
    )


def risen_in_cold_pct(
    recipe: Recipe, stage: MethodStage, *, start_c: float, cold_c: float, learned: RecipeExperience | None = None
) -> float:
    """How far pieces will have risen by the end of a retard, of its hours the least. [%]"""
    if stage.hours is None:
        return stage.target.rise_pct or 0.0
    batch = batch_of(recipe, stage, recipe.each_g)
    t_s = np.arange(0.0, 3600.0 * stage.hours + 1.0, COOLING_STEP_S)
    air, unknown = np.full(t_s.size, cold_c), np.full(t_s.size, np.nan)
    dough_c = dough_temp_from_air(t_s, air, start_c, vessel_time_constant_s(batch.vessel, recipe.each_g))
    seen = Track(air_temp_c=Series(t_s, air, unknown), dough_temp_c=Series(t_s, dough_c, unknown))
    found = outlook(batch, seen, ANY_MOMENT + timedelta(hours=stage.hours), horizon=HORIZON, learned=learned)
    return 0.0 if found.rise_pct is None else round(found.rise_pct.p50, 1)


def _closes_by_the_clock(recipe: Recipe, stage: MethodStage, hours: float, peak: Span) -> list[float]:
    """Until when a stage of so many hours is good; empty where only the longest wait of all bounds it. [min]

    The baker's hour stands; it keeps to where the estimator sees it past its best, where that is later. Of pieces that
    proofed in the cold before, it sees nothing: it begins with a dough that has done nothing yet.
    """
    by_the_clock_min = (1.0 + BY_THE_CLOCK_FRAC) * 60.0 * hours
    if _proofed_in_the_cold(recipe, stage):
        return [max(by_the_clock_min, 60.0 * hours + COLD_PIECES_KEEP_MIN)]
    is_ripened = stage.stage is Stage.PREFERMENT
    over = peak.p50 + AFTER_PEAK_MIN if is_ripened and peak.p50 is not None else peak.p25
    return [] if over is None else [max(by_the_clock_min, over)]


def _proofed_in_the_cold(recipe: Recipe, stage: MethodStage) -> bool:
    """True when a final proof is of pieces that were shaped before a retard."""
    later = [each for each in recipe.method if each.part == stage.part][1:]  # a retard that comes first is in bulk
    return stage.stage is Stage.FINAL_PROOF and any(each.stage is Stage.RETARD and not each.in_bulk for each in later)


def _does(hours_min: float, doubt: Span) -> Span:
    """What a dough may do in so many minutes, where it may be as much quicker or slower as ``doubt`` says of it."""
    middle = doubt.p50
    if middle is None:
        return Span()
    found = (None if not each else hours_min * middle / each for each in reversed(doubt.quantiles))
    return Span(*found)


def still_to_come_min(formula: Formula | None, *, tau_min: float, dough_c: float, cold_c: float) -> float:
    """How far a dough goes on rising while it cools, in minutes at the temperature it has now. [min]

    So much before its target a dough must go into the cold. The rest that it does once it is cold is not counted.

    >>> round(still_to_come_min(None, tau_min=120.0, dough_c=25.0, cold_c=4.0))
    75
    """
    cardinals = gassing_cardinals(formula)
    t_s = np.linspace(0.0, COLD_ENOUGH_TAUS * tau_min * 60.0, 400)
    cooling_c = cold_c + (dough_c - cold_c) * np.exp(-t_s / (tau_min * 60.0))
    in_all_h = float(equivalent_hours(t_s, cooling_c, cardinals)[-1])
    once_cold_h = float(t_s[-1]) / 3600.0 * float(relative_rate(cold_c, cardinals))
    pace = float(relative_rate(dough_c, cardinals))
    return 60.0 * max(in_all_h - once_cold_h, 0.0) / pace if pace > 0.0 else 0.0


def stand_in_lag_min(
    formula: Formula | None,
    *,
    sample: tuple[Vessel, float],
    piece_g: float,
    air_c: float,
    start_c: float,
    at_min: float,
) -> float:
    """How much later the pieces get where a small jar of the same dough is ``at_min`` after the start. [min]

    The jar follows the air faster: in warmer air than the dough it runs ahead of the pieces (above 0), in colder air
    it falls behind (below 0).

    Parameters
    ----------
    sample
        The jar and what is in it [g].
    """
    cardinals = gassing_cardinals(formula)
    t_s = np.arange(0.0, 3.0 * at_min * 60.0 + 3600.0, 60.0)
    air = np.full(t_s.size, air_c)

    def hours(vessel: Vessel, mass_g: float) -> np.ndarray:
        tau_s = vessel_time_constant_s(vessel, mass_g)
        return equivalent_hours(t_s, dough_temp_from_air(t_s, air, start_c, tau_s), cardinals)

    of_jar = float(np.interp(at_min * 60.0, t_s, hours(*sample)))
    of_piece = hours(body_of(piece_g), piece_g)
    return float(np.interp(of_jar, of_piece, t_s)) / 60.0 - at_min
