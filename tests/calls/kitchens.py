"""Twenty seeded kitchens and their nights: which dough stands where, what befalls it, and what its baker has said.

Every simulator has four kitchens: an ordinary one with the usual histories and troubles; one whose node lies on the
tub, so that its air follows late; one that puts its dough into the refrigerator; one with a folding proofer. One night
of a kitchen is one dough, which nobody takes away when it is called. All the odds are judgement.
"""

import csv
import json
import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum
from functools import cached_property
from math import exp
from pathlib import Path

from firmware_sim.bench.air import Air, air_named
from firmware_sim.doughs.catalogue import KINDS, SIMULATORS
from firmware_sim.recordings.histories import TROUBLED, drawn_history
from firmware_sim.recordings.record import Order, record
from monitor.backtest.recordings import ABOUT_NAME, BATCH_NAME, READINGS_NAME, TRUE_RISE_NAME, TRUTH_NAME

FIRST_SEED = 50_000  # of no tuning, gate or back-test
FORGOTTEN = 0.06  # of nights without live leaven, beside the simulators' own
COVERED = 0.5
NODE_LAG_MIN = (30.0, 75.0)  # how late the air of a node on a warm tub is
COLD_C = (3.0, 6.0)
PROOFER_C, PROOFER_RYE_C, PROOFER_SOUR_C = (33.0, 37.5), (31.0, 34.5), (28.0, 31.0)
KEPT = (READINGS_NAME, BATCH_NAME, TRUTH_NAME, TRUE_RISE_NAME, ABOUT_NAME)


class Place(StrEnum):
    """What is particular about a kitchen."""

    ORDINARY = "ordinary"
    NODE_ON_TUB = "node on the tub"
    INTO_THE_COLD = "into the cold"
    PROOFER = "proofer"


KITCHENS = tuple((simulator, place) for place in Place for simulator in SIMULATORS)


@dataclass(frozen=True)
class Night:
    """One dough of one kitchen, from 0."""

    kitchen: int
    number: int

    @property
    def name(self) -> str:
        return f"kitchen-{self.kitchen:02d}-night-{self.number:02d}"

    @property
    def simulator(self) -> str:
        return KITCHENS[self.kitchen][0]

    @property
    def place(self) -> Place:
        return KITCHENS[self.kitchen][1]

    @property
    def is_covered(self) -> bool:
        """Whether the dough is covered, and its baker has said so."""
        return random.Random(f"covered {self.name}").random() < COVERED

    @property
    def is_node_on_tub(self) -> bool:
        return self.place in (Place.NODE_ON_TUB, Place.INTO_THE_COLD)

    @cached_property
    def order(self) -> Order:
        """What is recorded of it."""
        seed = FIRST_SEED + 100 * self.kitchen + self.number
        stages = {Place.INTO_THE_COLD: ("first rise", "final proof")}.get(self.place)
        drawn = drawn_history(
            self.simulator, seed, has_formula=True, catalogue=TROUBLED, **({"stages": stages} if stages else {})
        ).order
        rng = random.Random(f"night {self.name}")
        drawn = replace(drawn, is_live=drawn.is_live and rng.random() >= FORGOTTEN)
        if self.place is Place.INTO_THE_COLD:
            in_min = rng.uniform(20.0, 90.0)
            room = f"retard:{rng.uniform(20.0, 26.0):.1f}:{rng.uniform(*COLD_C):.1f}:{in_min:.0f}:{in_min + 480.0:.0f}"
            return replace(drawn, room=room, hours=14.0)
        if self.place is Place.PROOFER:
            recipe = KINDS[drawn.dough].recipe
            sour_c = PROOFER_RYE_C if recipe.kind == "rye" else PROOFER_SOUR_C
            return replace(drawn, room=f"cabinet:{rng.uniform(*(sour_c if recipe.sourdough_pct else PROOFER_C)):.1f}")
        return drawn

    @cached_property
    def air(self) -> Air:
        """The air as it truly is."""
        return air_named(self.order.room, self.order.seed)

    def recorded_in(self, cache: Path) -> Path:
        """The folder of its recording, made if it is not there yet."""
        folder = cache / self.name
        if not all((folder / name).is_file() for name in KEPT):
            record(self.order, folder)
            if self.is_node_on_tub:
                _lag_air(folder / READINGS_NAME, random.Random(f"lag {self.name}").uniform(*NODE_LAG_MIN))
            (folder / ABOUT_NAME).write_text(json.dumps({"folds_min": self.order.folds_min}), encoding="utf-8")
        return folder

    def moves(self) -> Iterator[tuple[timedelta, str]]:
        """Where its baker has said that it was put, after how long."""
        if self.place is Place.PROOFER:
            yield timedelta(0), "proofer"
        yield from ((timedelta(seconds=at_s), where) for at_s, where in self.air.moves)


def _lag_air(path: Path, lag_min: float) -> None:
    """Let the air of a recording follow the true one by a time constant, as beside a warm tub. [min]"""
    with path.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    shown_c, before_min = None, 0.0
    first = rows[0]["time"]
    for row in rows:
        now_min = _minutes_between(first, row["time"])
        if row["air_temp_c"]:
            air_c = float(row["air_temp_c"])
            keeps = exp(-(now_min - before_min) / lag_min)
            shown_c = air_c if shown_c is None else air_c + (shown_c - air_c) * keeps
            before_min = now_min
            row["air_temp_c"] = f"{shown_c:.2f}"
    with path.open("w", newline="", encoding="utf-8") as file:
        table = csv.DictWriter(file, list(rows[0]))
        table.writeheader()
        table.writerows(rows)


def _minutes_between(first: str, last: str) -> float:
    return (datetime.fromisoformat(last) - datetime.fromisoformat(first)) / timedelta(minutes=1)


def nights(per_kitchen: int, first: int = 0) -> list[Night]:
    """Some nights of every kitchen, from the first wanted on, night by night."""
    return [Night(kitchen, number) for number in range(first, first + per_kitchen) for kitchen in range(len(KITCHENS))]
