"""The pace of a demo's dough time, kept in its store so that every process on it lives by the same clock."""

from datetime import datetime

from monitor.clock import Clock, Pace, ScaledClock, SystemClock
from monitor.errors import ConfigError
from monitor.store.store import Store
from monitor.translatable import Number

EPOCH_KEY = "epoch"
SPEED_KEY = "speed"


def pace_of(store: Store) -> Pace | None:
    """The pace kept in a store; None where dough time is the machine's own."""
    epoch, speed = store.settings.get(EPOCH_KEY), store.settings.get(SPEED_KEY)
    return None if epoch is None or speed is None else Pace(datetime.fromisoformat(epoch), float(speed))


def clock_of(store: Store) -> Clock:
    """The clock that the doughs of a store live by."""
    pace = pace_of(store)
    return SystemClock() if pace is None else ScaledClock(pace)


def settle_pace(store: Store, pace: Pace | None) -> SystemClock:
    """Keep the pace a collector was started with, and give its clock.

    Raises
    ------
    ConfigError
        When the store lives by another pace: its moments would not fit the new ones.
    """
    known = pace_of(store)
    if known is not None and known != pace:
        raise ConfigError(
            "{path}: belongs to a demo (dough time {speed} times as fast); name another directory with --data-dir",
            path=store.path,
            speed=Number(known.speed, "g"),
        )
    if pace is not None and known is None:
        if store.batches.all():
            raise ConfigError("{path}: holds real batches; run a demo in a directory of its own", path=store.path)
        store.settings.put(EPOCH_KEY, pace.epoch.isoformat())
        store.settings.put(SPEED_KEY, repr(pace.speed))
    return SystemClock() if pace is None else ScaledClock(pace)
