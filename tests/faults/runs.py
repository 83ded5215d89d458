"""Every fault run by name: the short form that the tests run, and the long one."""

from collections.abc import Callable

from faults import brokers, cables, disk_errors, disorder, fuzzing, killing, resuming, week
from faults.table import Line

SHORT: dict[str, Callable[[], Line]] = {
    "kill": lambda: killing.run(3),
    "disk": lambda: disk_errors.run(15),
    "broker": lambda: brokers.run(1, 1, 5.0, room=40),
    "cable": lambda: cables.run(2),
    "fuzz": lambda: fuzzing.run(4_000),
    "disorder": lambda: disorder.run(1),
    "week": lambda: week.run(0.15, nodes=8),
}
LONG: dict[str, Callable[[], Line]] = {
    "kill": lambda: killing.run(1000, seed=2026),
    "disk": lambda: disk_errors.run(1),
    "broker": lambda: brokers.run(20, 5, 120.0),
    "cable": lambda: cables.run(100),
    "fuzz": lambda: fuzzing.run(1_000_000, seed=2026),
    "disorder": lambda: disorder.run(20),
    "week": lambda: week.run(7.0, seed=2026),
    "resume": lambda: resuming.run(20),
}
