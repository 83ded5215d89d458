"""One bread from its preferment to the oven, on three nodes: each dough begins when it is put into its vessel.

Nobody knows beforehand when that will be, since the baker goes by the doughs: what is put where, and when, is read
from ``begun.json`` in the day's folder, ``{"first rise": "2026-03-03T08:05:00Z"}``.
"""

import json
import logging
import random
import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from pathlib import Path

from firmware_sim.bench.air import Air, air_named
from firmware_sim.bench.bench import TUBS, Bench
from firmware_sim.bench.sensors import NOISE, Sensors
from firmware_sim.bench.surface import Surface, surface_traits
from firmware_sim.boards.hal_sim import DoughTime, PtyPort, SimBoard
from firmware_sim.demo.fleet import NodeThread, run_nodes
from firmware_sim.doughs.bakings import digital_traits
from firmware_sim.doughs.digital import DigitalDough
from firmware_sim.doughs.recipes import DIGITAL_RECIPES, DigitalRecipe, water_of_all_flour_pct
from firmware_sim.node.link_serial import SerialLink

log = logging.getLogger(__name__)

PERIOD_MS = 60_000  # dough time between measurements: the day runs very fast
LOOK_EVERY_S = 0.05
STEP_S = 20.0
BEGUN = "begun.json"


@dataclass(frozen=True, slots=True)
class _Stand:
    """A vessel with a node over it, and what will be put into it. ``cold``: in the refrigerator."""

    node: int
    tub: str
    flour_g: float
    recipe: DigitalRecipe
    is_cold: bool = False


STANDS = {
    "preferment": _Stand(
        11, "jar", 250.0, replace(DIGITAL_RECIPES["preferment"], instant_yeast_pct=0.2, temp_c=21.0), is_cold=True
    ),
    "first rise": _Stand(
        12, "round-taper", 1000.0, replace(DIGITAL_RECIPES["lean"], instant_yeast_pct=0.78, temp_c=27.0)
    ),
    "proof": _Stand(13, "jar", 205.0, replace(DIGITAL_RECIPES["proof"], instant_yeast_pct=0.78, temp_c=26.0)),
}
SPREAD = 0.3  # of the spreads in recipes.py: a baker who knows the recipe


class Vessel:
    """What a board's probe and distance sensor are over: empty, until a dough is put in."""

    def __init__(self, stand: _Stand, air: Air, seed: int, name: str) -> None:
        self.air = air
        self._stand = stand
        self._seed = seed
        self._name = name
        self._sensors = Sensors(NOISE["usual"], f"bake {name} {seed}")
        self._bench: Bench | None = None
        self._begun_s = 0.0

    def begin(self, at_s: float) -> None:
        """Put the dough in; ``at_s`` is dough time since the epoch. [s]"""
        rng = random.Random(f"bake {self._name} {self._seed}")
        traits = digital_traits(self._stand.recipe, rng, start_c=self._stand.recipe.temp_c, spread=SPREAD)
        recipe = self._stand.recipe
        top = surface_traits(water_of_all_flour_pct(recipe), recipe.kind, recipe.stage, rng, spread=0.0)
        air = Air(
            lambda after_s: self.air.temp_c(at_s + after_s), lambda after_s: self.air.humidity_pct(at_s + after_s)
        )
        self._bench = Bench(
            dough=DigitalDough(traits, air.temp_c, (), step_s=STEP_S),
            flour_g=self._stand.flour_g,
            tub=TUBS[self._stand.tub],
            air=air,
            sensors=self._sensors,
            surface=Surface(top),
            step_s=STEP_S,
        )
        self._begun_s = at_s

    def read_dough(self, at_s: float) -> int | None:
        """What the probe answers: of an empty vessel, its air."""
        if self._bench is None:
            return self._sensors.dough(at_s, self.air.temp_c(at_s))
        return self._bench.read_dough(max(at_s - self._begun_s, 0.0))

    def read_distance(self, at_s: float) -> int | None:
        """What one shot of the distance sensor answers."""
        if self._bench is None:
            return self._sensors.distance(at_s, TUBS[self._stand.tub].sensor_to_base_mm)
        return self._bench.read_distance(max(at_s - self._begun_s, 0.0))


def urn_of(name: str) -> str:
    """The node over a vessel."""
    return f"urn:dev:mac:020000fffe5e{STANDS[name].node:04x}"


class BreadDay:
    """The three nodes of a bread, each on a pseudo-terminal ``tty-NAME`` in the day's folder."""

    def __init__(self, folder: Path, pace: DoughTime, *, room_c: float, cold_c: float, seed: int) -> None:
        self._folder = folder
        self._pace = pace
        self._stop = threading.Event()
        self._filled: set[str] = set()
        airs = {True: air_named(f"steady:{cold_c:g}", seed), False: air_named(f"steady:{room_c:g}", seed)}
        self._vessels = {name: Vessel(stand, airs[stand.is_cold], seed, name) for name, stand in STANDS.items()}
        self._nodes = [self._node(name, vessel) for name, vessel in self._vessels.items()]

    def _node(self, name: str, vessel: Vessel) -> NodeThread:
        board = SimBoard(
            urn=urn_of(name),
            pace=self._pace,
            stop=self._stop,
            point=vessel,
            air=vessel.air,
            air_sensors=Sensors(NOISE["usual"], f"bake air {name}"),
        )
        port = PtyPort(self._folder / f"tty-{name}")
        return NodeThread(name, board, SerialLink(port), PERIOD_MS, port)

    def fill_vessels(self) -> None:
        """Put in what has been begun since the last time."""
        path = self._folder / BEGUN
        if not path.exists():
            return
        for name, at in json.loads(path.read_text(encoding="utf-8")).items():
            if name in self._vessels and name not in self._filled:
                at_s = (datetime.fromisoformat(at) - self._pace.epoch).total_seconds()
                self._vessels[name].begin(at_s)
                self._filled.add(name)
                log.info("vessel=%s state=filled", name)

    def run(self, is_stopped: Callable[[float], bool]) -> None:
        """Run as :func:`~firmware_sim.demo.fleet.run_nodes` does, and fill the vessels."""
        run_nodes(self._nodes, self._stop, partial(is_stopped, LOOK_EVERY_S), self.fill_vessels)
