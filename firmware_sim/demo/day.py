"""Invented bakery days: which doughs stand where, on which nodes, and what each will do.

A day is drawn from a seed, lived through once in advance, and drawn again until every dough does its part within the
170 minutes the day has: a demo that leaves the interesting moment out shows nothing.
"""

import json
import random
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

from firmware_sim.bench.air import air_named
from firmware_sim.bench.bench import TUBS, Bench, Outcome
from firmware_sim.bench.replay import SCALES
from firmware_sim.bench.sensors import NOISE, Sensors
from firmware_sim.bench.surface import Surface, SurfaceTraits, surface_traits
from firmware_sim.doughs.bakings import digital_traits
from firmware_sim.doughs.digital import STEP_S, DigitalDough, DigitalTraits
from firmware_sim.doughs.recipes import DIGITAL_RECIPES, DigitalRecipe, water_of_all_flour_pct
from firmware_sim.recordings.record import batch_toml, filled_flour_g, formula_g

DAY_MIN = 170.0
DRAWS = 200
ROUGH_STEP_S = 40.0  # enough to see whether a dough plays its part
SPREAD = 0.6  # of the spreads in recipes.py: one bakery on one day


@dataclass(frozen=True, slots=True)
class PlannedNode:
    """A node of the day. ``link`` is how it would be wired: serial or mqtt; ``air`` None: no air sensor."""

    urn: str
    key: str
    link: str
    batch: str | None
    air: str | None


@dataclass(frozen=True, slots=True)
class PlannedBatch:
    """A dough of the day. ``folds`` are (seconds after the start, share of the gas knocked out)."""

    name: str
    tub: str
    air: str
    flour_g: float
    folds: tuple[tuple[float, float], ...]
    target_rise_pct: float | None
    traits: DigitalTraits
    top: SurfaceTraits


@dataclass(frozen=True, slots=True)
class Day:
    """A whole day, as ``day.json`` keeps it. ``batches`` by the name of the batch file."""

    start_at: datetime
    seed: int
    noise: str
    left_to_over_proof: str
    batches: dict[str, PlannedBatch]
    nodes: tuple[PlannedNode, ...]


@dataclass(frozen=True, slots=True)
class _Part:
    """One dough's part in the day; ``plays`` judges what it would do (minutes: ready, peak, rise at the end)."""

    name: str
    recipe: DigitalRecipe
    tub: str
    fill_frac: float
    air: str
    folds_min: tuple[float, ...]
    target_rise_pct: float | None
    preheat_min: float | None
    plays: Callable[[float, float, float, float], bool]


def _rises(early_min: float, late_min: float) -> Callable[[float, float, float, float], bool]:
    """Ready between two times, with its peak well after."""
    return lambda ready, peak, _highest, _last: early_min <= ready <= late_min and peak >= ready + 30.0


_PARTS = {
    "country-loaf": _Part(
        "Country loaf, tub 3", replace(DIGITAL_RECIPES["lean"], instant_yeast_pct=1.3, temp_c=26.5), "round-taper",
        0.27, "drift:24:26", (25.0, 50.0), 75.0, None, _rises(95.0, 140.0),
    ),
    "sandwich-dough": _Part(
        "Sandwich dough, tub 1", replace(DIGITAL_RECIPES["lean"], instant_yeast_pct=1.2, temp_c=26.0, fat_pct=3.0),
        "rect-straight", 0.30, "steady:25", (), 100.0, None, _rises(85.0, 135.0),
    ),
    "seeded-tins": _Part(
        "Seeded tins, cabinet", DIGITAL_RECIPES["proof"], "tin", 0.42, "cabinet:30", (), 90.0, 30.0,
        _rises(60.0, 110.0),
    ),
    "milk-rolls": _Part(
        "Milk rolls by the oven",
        replace(
            DIGITAL_RECIPES["proof"], sugar_pct=6.0, fat_pct=8.0, instant_yeast_pct=1.8, osmotic_scale_atm=150.0,
            break_min=14.0, fall_per_h=0.9,
        ),
        "rect-taper", 0.36, "warm:34", (), 90.0, 30.0,
        lambda ready, peak, highest, last: (
            35.0 <= ready <= peak - 12.0 and 70.0 <= peak <= 105.0 and last <= highest - 35.0
        ),
    ),
    "preferment": _Part(
        "Liquid preferment, jar 2", replace(DIGITAL_RECIPES["preferment"], instant_yeast_pct=1.1, temp_c=28.0), "jar",
        0.30, "cabinet:30", (), None, None,
        lambda _ready, peak, highest, last: 90.0 <= peak <= 135.0 and last <= highest - 10.0,
    ),
}  # fmt: skip
LEFT_TO_OVER_PROOF = "milk-rolls"
CABINET = "cabinet:30"


def _urn(number: int) -> str:
    return f"urn:dev:mac:020000fffe5e{number:04x}"  # 02: a locally administered address, nobody's hardware


def _node(number: int, link: str, batch: str | None, air: str | None) -> PlannedNode:
    return PlannedNode(_urn(number), _urn(number).removeprefix("urn:dev:").replace(":", "-"), link, batch, air)


_NODES = (
    _node(1, "serial", "country-loaf", "drift:24:26"),
    _node(2, "mqtt", "sandwich-dough", "steady:25"),
    _node(3, "mqtt", "seeded-tins", None),
    _node(4, "serial", "milk-rolls", "warm:34"),
    _node(5, "mqtt", "preferment", None),
    _node(6, "mqtt", None, CABINET),
)


def bench_of(day: Day, key: str, *, step_s: float = STEP_S) -> Bench:
    """The bench of one batch of a day."""
    batch = day.batches[key]
    air = air_named(batch.air, day.seed)
    lifted_s = tuple(at_s for at_s, _ in batch.folds)
    return Bench(
        dough=DigitalDough(batch.traits, air.temp_c, batch.folds, step_s=step_s),
        flour_g=batch.flour_g,
        tub=TUBS[batch.tub],
        air=air,
        sensors=Sensors(NOISE[day.noise], f"{key} {day.seed}", lifted_s),
        surface=Surface(batch.top, folds_s=lifted_s),
        last_fold_s=max(lifted_s, default=0.0),
        target_rise_pct=batch.target_rise_pct,
        step_s=step_s,
    )


def _simulated(day: Day, key: str) -> tuple[Outcome, float]:
    """What a batch will have done by the end of the day, and its rise then [%]."""
    bench = bench_of(day, key, step_s=ROUGH_STEP_S)
    bench.advance_to(60.0 * DAY_MIN)
    return bench.outcomes.outcome, bench.dough.rise_pct or 0.0


def _draw(part: _Part, rng: random.Random) -> PlannedBatch:
    traits = digital_traits(part.recipe, rng, spread=SPREAD)
    share = part.recipe.fold_share
    return PlannedBatch(
        name=part.name,
        tub=part.tub,
        air=part.air,
        flour_g=filled_flour_g(traits.start_ml, TUBS[part.tub], part.fill_frac),
        folds=tuple((60.0 * at, share * rng.uniform(0.85, 1.15)) for at in part.folds_min),
        target_rise_pct=part.target_rise_pct,
        traits=traits,
        top=surface_traits(water_of_all_flour_pct(part.recipe), part.recipe.kind, part.recipe.stage, rng, spread=0.0),
    )


def plan_day(seed: int, start_at: datetime) -> Day:
    """A day from a seed.

    Raises
    ------
    ValueError
        When no dough that plays its part was found in 200 draws; the parts contradict the recipes then.
    """
    day = Day(start_at, seed, "usual", LEFT_TO_OVER_PROOF, {}, _NODES)
    for key, part in _PARTS.items():
        rng = random.Random(f"day {seed} {key}")
        for _ in range(DRAWS):
            tried = replace(day, batches={**day.batches, key: _draw(part, rng)})
            outcome, last_pct = _simulated(tried, key)
            never = 10.0 * DAY_MIN
            ready_min = never if outcome.ready_s is None else outcome.ready_s / 60.0
            peak_min = never if outcome.peak_s is None else outcome.peak_s / 60.0
            if part.plays(ready_min, peak_min, outcome.peak_rise_pct or 0.0, last_pct):
                day = tried
                break
        else:
            raise ValueError(f"no {part.name!r} within {DRAWS} draws of seed {seed} plays its part; try another seed")
    return day


def _nodes_of(day: Day, key: str) -> list[tuple[str, str]]:
    """Which node reads which channel of a batch; air from a node that hangs in the same air."""
    own = next(node for node in day.nodes if node.batch == key)
    airs = [own, *day.nodes] if own.air is not None else list(day.nodes)
    air = next(node for node in airs if node.air == day.batches[key].air)
    return [(channel, (air if channel in ("air_temp_c", "humidity_pct") else own).urn) for channel in SCALES]


def write_day(day: Day, folder: Path) -> None:
    """Write ``batches/NAME.toml`` and ``day.json``.

    Raises
    ------
    OSError
        When the folder cannot be written.
    """
    (folder / "batches").mkdir(parents=True, exist_ok=True)
    for key, batch in day.batches.items():
        part = _PARTS[key]
        text = batch_toml(
            name=batch.name,
            stage=part.recipe.stage,
            started_at=day.start_at,
            target_rise_pct=batch.target_rise_pct,
            tub=TUBS[batch.tub],
            grams=formula_g(part.recipe, batch.flour_g),
            events=[(day.start_at + timedelta(seconds=at_s), "fold") for at_s, _ in batch.folds],
            nodes=_nodes_of(day, key),
            preheat_min=part.preheat_min,
        )
        (folder / "batches" / f"{key}.toml").write_text(text, encoding="utf-8")
    table = asdict(day) | {"start_at": day.start_at.isoformat()}
    (folder / "day.json").write_text(json.dumps(table, indent=1) + "\n", encoding="utf-8")


def read_day(folder: Path) -> Day:
    """The day that :func:`write_day` wrote.

    Raises
    ------
    OSError, ValueError
        When there is none, or it cannot be read.
    """
    path = folder / "day.json"
    try:
        table = json.loads(path.read_text(encoding="utf-8"))
        batches = {
            key: PlannedBatch(
                **{
                    **batch,
                    "traits": DigitalTraits(**batch["traits"]),
                    "top": SurfaceTraits(**batch["top"]),
                    "folds": tuple((at_s, share) for at_s, share in batch["folds"]),
                }
            )
            for key, batch in table["batches"].items()
        }
        return Day(
            start_at=datetime.fromisoformat(table["start_at"]),
            seed=table["seed"],
            noise=table["noise"],
            left_to_over_proof=table["left_to_over_proof"],
            batches=batches,
            nodes=tuple(PlannedNode(**node) for node in table["nodes"]),
        )
    except (KeyError, TypeError, json.JSONDecodeError) as err:
        raise ValueError(f"{path}: is no day as plan writes it ({err!r}); plan it anew") from err
