"""How a simulated board itself is: how strongly it hears its network, and the battery that feeds it.

Every figure is judgement: ordinary sizes for a small board in a building with thick walls, on one lithium cell.
"""

import random
from dataclasses import dataclass
from math import pi, sin

Health = tuple[int | None, int | None]
"""Signal [dBW] and battery [0.01 V], each None where the board does not know: see the node's main.py."""

DBM = 30.0  # a watt is 30 dB more than a milliwatt
STRONGEST_DBM, WEAKEST_DBM = -48.0, -84.0
SWAY_DB, SWAY_S = 3.0, 2400.0  # people, trolleys, an oven's door
FULL_V, WORKED_V, FALL_V = 4.15, 0.55, 0.30  # full; what most of its life takes; what its end takes on top
FALL_POWER = 8.0
LIFE_DAYS = (5.0, 40.0)
DAY_S = 86400.0


@dataclass(frozen=True, slots=True)
class Power:
    """What one board hears and is fed by. ``signal_dbm`` None: a cable; ``life_days`` None: mains."""

    signal_dbm: float | None = None
    life_days: float | None = None
    sways_at: float = 0.0

    def health(self, at_s: float) -> Health:
        """What the board says of itself at a time after its battery was full. [s]"""
        signal = battery = None
        if self.signal_dbm is not None:
            sway_db = SWAY_DB * sin(2.0 * pi * (at_s / SWAY_S + self.sways_at))
            signal = round(self.signal_dbm + sway_db - DBM)
        if self.life_days is not None:
            used = min(at_s / DAY_S / self.life_days, 1.0)
            battery = round(100.0 * (FULL_V - WORKED_V * used - FALL_V * used**FALL_POWER))
        return signal, battery


MAINS = Power()


def power_of(seed: str, *, has_radio: bool) -> Power:
    """A board by its seed: one on a cable is fed by it, of those with a radio about half have a battery."""
    if not has_radio:
        return MAINS
    rng = random.Random(f"power {seed}")
    life_days = rng.uniform(*LIFE_DAYS) if rng.random() < 0.5 else None
    return Power(rng.uniform(WEAKEST_DBM, STRONGEST_DBM), life_days, rng.random())
