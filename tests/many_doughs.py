"""A mixed bag of doughs made up in closed form, each with its own numbers: for tests of many at once."""

from dataclasses import fields, replace
from datetime import timedelta

import numpy as np
from made_up import FIRST_DAY, START_LEVEL_MM, TUB, batch_of, rise_frac

from monitor.dough.forecast import ForecastRequest
from monitor.dough.outlook import Band, Outlook
from monitor.dough.track import EMPTY, Series, Track
from monitor.recipe.batch import BatchId, Event, EventKind, Target
from monitor.recipe.formula import Formula
from monitor.recipe.vessel import level_mm, volume_ml

KINDS = ("plain", "folded", "cold", "no probe", "holes", "no height", "by eye", "nothing", "moved", "for its peak")


def _series(t_s: np.ndarray, value: np.ndarray) -> Series:
    return Series(t_s, value, np.full(t_s.size, np.nan))


def asked_of(kind: str, seed: int) -> ForecastRequest:
    """One dough of a kind, of its own age, pace and noise."""
    rng = np.random.default_rng([KINDS.index(kind), seed])
    now_s = float(rng.uniform(120.0, 5.0 * 3600.0))
    t_s = np.arange(0.0, now_s + 1.0, 30.0)
    temp_c = 8.0 if kind == "cold" else float(rng.uniform(20.0, 30.0))
    rise = rise_frac(
        t_s, 0.05 if kind == "cold" else float(rng.uniform(0.3, 1.2)), ceiling=float(rng.uniform(1.0, 2.5))
    )
    fold_s = 0.6 * now_s
    events = []
    if kind == "folded":
        rise = rise - (t_s > fold_s) * 0.4 * np.interp(fold_s, t_s, rise)
        events = [Event(FIRST_DAY + timedelta(seconds=s), EventKind.FOLD) for s in (0.3 * now_s, fold_s)]
    level = level_mm(TUB, volume_ml(TUB, START_LEVEL_MM) * (1.0 + rise))
    distance = 300.0 - level + rng.normal(0.0, 0.8, t_s.size)
    air = temp_c + rng.normal(0.0, 0.2, t_s.size)
    if kind == "moved":
        distance -= 12.0 * (t_s > fold_s)
        events = [Event(FIRST_DAY + timedelta(seconds=fold_s), EventKind.MOVE)]
    if kind == "holes":
        distance[rng.random(t_s.size) < 0.2] = np.nan
        air[rng.random(t_s.size) < 0.2] = np.nan
    track = Track(_series(t_s, air), EMPTY, _series(t_s, air), _series(t_s, distance))
    if kind in ("no probe", "cold"):
        track = replace(track, dough_temp_c=EMPTY)
    if kind == "no height":
        track = replace(track, distance_mm=EMPTY)
    if kind == "by eye":
        seen = slice(0, None, 60)
        track = Track(level_mm=Series(t_s[seen], level[seen], np.full(t_s[seen].size, 2.0)))
    if kind == "nothing":
        track = Track()
    batch = replace(batch_of(f"{kind} {seed}"), id=BatchId(seed), events=tuple(events))
    if kind == "for its peak":
        formula = Formula(flour_g=500.0, water_g=350.0, salt_g=10.0, instant_yeast_g=3.0)
        batch = replace(batch, target=Target(None), formula=formula)
    return ForecastRequest(batch, track, FIRST_DAY + timedelta(seconds=now_s))


def numbers(found: Outlook) -> list[float]:
    """Every number of an outlook; moments as seconds."""
    band = [] if found.rise_pct is None else [getattr(found.rise_pct, field.name) for field in fields(Band)]
    moments = [
        at.timestamp()
        for each in (found.ready, found.peak)
        for field in fields(each)
        if (at := getattr(each, field.name))
    ]
    chances = [found.peak_soon_chance or 0.0, found.past_peak_chance or 0.0, found.state_chance or 0.0]
    return [*band, *moments, *chances, *(point.p50 for point in found.fan)]
