"""Every fault run by name: the short form that the tests run, and the long one."""

from collections.abc import Callable

from faults import brokers, cables, disk_errors, disorder, fuzzing, killing, moments, power, resuming, shipping, week
from faults.table import Line

SHORT: dict[str, Callable[[], Line]] = {
    "kill": lambda: killing.run(3),
    "disk": lambda: disk_errors.run(15),
    "power": lambda: power.run(60),
    "broker": lambda: brokers.run(1, 1, 5.0, room=40),
    "moments": lambda: moments.run(6.0),
    "moments at speed 60": lambda: moments.run(6.0, speed=60.0),
    "cable": lambda: cables.run(2),
    "fuzz": lambda: fuzzing.run(4_000),
    "disorder": lambda: disorder.run(1),
    "week": lambda: week.run(0.15, nodes=8),
    "shipping": lambda: shipping.run(3, 3_000),
}
LONG: dict[str, Callable[[], Line]] = {
    "kill": lambda: killing.run(1000, seed=2026, has_screens=True),
    "disk": lambda: disk_errors.run(1),
    "power": lambda: power.run(0),
    "broker": lambda: brokers.run(20, 5, 120.0),
    "moments": lambda: moments.run(90.0),
    "moments at speed 60": lambda: moments.run(90.0, speed=60.0),
    "cable": lambda: cables.run(100),
    "fuzz": lambda: fuzzing.run(1_000_000, seed=2026),
    "disorder": lambda: disorder.run(20),
    "week": lambda: week.run(7.0, seed=2026, has_screens=True),
    "shipping": lambda: shipping.run(100, 60_480, seed=2026),  # a week's turns of ten seconds
    "resume": lambda: resuming.run(20),
}
