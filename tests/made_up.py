"""A dough made up in closed form, as readings: for tests that need a batch and do not mind which."""

from datetime import UTC, datetime, timedelta

import numpy as np

from monitor.recipe.batch import Batch, BatchId, Stage, Target
from monitor.recipe.vessel import Shape, Vessel, level_mm, volume_ml
from monitor.wire.readings import Channel, NodeId, Reading

NODE = NodeId("urn:dev:mac:020000fffe5e0001")
TUB = Vessel(Shape.ROUND, (180.0, 180.0), (210.0, 210.0), 250.0, 300.0)
FIRST_DAY = datetime(2026, 3, 2, 5, 0, tzinfo=UTC)
START_LEVEL_MM = 70.0


def batch_of(name: str, *, day: int = 0, hours: float | None = None, target_pct: float | None = 100.0) -> Batch:
    """A first rise on some day, ended after so many hours."""
    started_at = FIRST_DAY + timedelta(days=day)
    nodes = tuple((channel, NODE) for channel in (Channel.AIR_TEMP, Channel.DOUGH_TEMP, Channel.DISTANCE))
    ended_at = None if hours is None else started_at + timedelta(hours=hours)
    return Batch(
        BatchId(0), name, Stage.FIRST_RISE, started_at, TUB, Target(target_pct), nodes=nodes, ended_at=ended_at
    )


def rise_frac(t_s: np.ndarray, per_h: float = 0.75, lag_h: float = 0.4, ceiling: float = 1.8) -> np.ndarray:
    """A dough that wakes, rises in a straight line and leaks towards its ceiling."""
    awake = 0.2 * np.logaddexp(0.0, (t_s / 3600.0 - lag_h) / 0.2)
    return ceiling * np.tanh(per_h * awake / ceiling)


def readings_of(batch: Batch, *, per_h: float = 0.75, hours: float = 3.0, seed: int = 1) -> list[Reading]:
    """One reading a minute of a dough at 27 C, with a sensor's noise."""
    t_s = np.arange(0.0, hours * 3600.0 + 1.0, 60.0)
    volume = volume_ml(TUB, START_LEVEL_MM) * (1.0 + rise_frac(t_s, per_h))
    noise = np.random.default_rng(seed).normal(0.0, 0.8, t_s.size)
    distance = 300.0 - level_mm(TUB, volume) + noise
    found = []
    for seq, (after_s, distance_mm) in enumerate(zip(t_s, distance, strict=True), start=1):
        at = batch.started_at + timedelta(seconds=float(after_s))
        values = {Channel.AIR_TEMP: 27.0, Channel.DOUGH_TEMP: 27.0, Channel.DISTANCE: float(distance_mm)}
        boot = f"{batch.started_at:%m%d%H%M}"
        found += [Reading(NODE, boot, seq, channel, value, at, at) for channel, value in values.items()]
    return found
