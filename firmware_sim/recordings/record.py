"""One dough recorded as fast as the machine can: readings, batch file and the truth, to test forecasts against."""

import csv
import json
import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import tomlkit

from firmware_sim.bench.air import Air, air_named
from firmware_sim.bench.bench import TUBS, Bench, DoughSensors, Tub
from firmware_sim.bench.replay import SCALES
from firmware_sim.bench.sensors import NOISE, Sensors
from firmware_sim.bench.surface import Surface, SurfaceTraits, surface_traits
from firmware_sim.bench.troubles import Trouble, TroubleKind
from firmware_sim.doughs.catalogue import KINDS
from firmware_sim.doughs.dough import STEP_S, Dough
from firmware_sim.doughs.recipes import WeighedRecipe, formula_pct, water_of_all_flour_pct
from firmware_sim.node import sampling

FILLED, FILLED_BY_PIECES = (0.22, 0.30), (0.10, 0.20)  # share of the tub at the start (judgement)
KNOCKED_OUT = (0.5, 0.85)  # share of the gas that dividing and shaping press out (judgement)


@dataclass(frozen=True, slots=True)
class Order:
    """What to record.

    Attributes
    ----------
    target_rise_pct
        None: the stage is judged by its peak.
    folds_min
        Minutes after the start.
    noted_folds_min
        When the batch file says it was folded; None: just then, empty: not at all.
    is_irregular
        Whether readings come at uneven times, ``every_s`` apart only on the whole.
    has_probe
        Whether a probe is in the dough.
    has_formula
        Whether the batch file holds what was weighed.
    troubles
        What gets between the sensors and the truth.
    is_live
        False: the leaven is dead, or was forgotten.
    is_ended
        Whether the batch file says that the stage was over when the recording ends.
    recipe_seed
        Where several batches of one recipe are recorded: what they have in common; ``seed`` is then the batch's own.
    batch
        Which of them it is, from 1.
    """

    dough: str
    seed: int
    room: str
    tub: str
    noise: str
    every_s: float
    hours: float
    start_at: datetime
    target_rise_pct: float | None
    folds_min: tuple[float, ...] = ()
    noted_folds_min: tuple[float, ...] | None = None
    is_irregular: bool = False
    has_probe: bool = True
    has_formula: bool = True
    troubles: tuple[Trouble, ...] = ()
    is_live: bool = True
    is_ended: bool = False
    recipe_seed: int | None = None
    batch: int = 1

    @property
    def name(self) -> str:
        """What the batch file calls it: batches of one recipe differ behind the comma."""
        if self.recipe_seed is None:
            return f"{self.dough} {self.seed}"
        return f"{self.dough} {self.recipe_seed}, batch {self.batch}"


@dataclass(frozen=True, slots=True)
class Recorded:
    """What was recorded: the recipe as weighed, and what became of the dough, as in ``truth.json``."""

    recipe: WeighedRecipe
    truth: dict[str, object]


def rfc3339(moment: datetime) -> str:
    """A moment as RFC 3339 UTC text."""
    text = moment.isoformat(timespec="milliseconds" if moment.microsecond else "seconds")
    return text.replace("+00:00", "Z")


def filled_flour_g(start_ml: float, tub: Tub, fill_frac: float) -> float:
    """Flour whose dough, ``start_ml`` from 100 g flour, fills a share of a tub at the start, to 10 g. [g]"""
    return max(10.0, round(tub.volume_ml(tub.depth_mm) * fill_frac / start_ml * 10.0) * 10.0)


def formula_g(recipe: WeighedRecipe, flour_g: float) -> dict[str, float]:
    """What the baker weighed, as keys of a batch file. [g]

    ``flour_g`` is all flour in the dough; the flour of a sourdough is left out of the weighed flour.
    """
    extra_pct = recipe.sourdough_pct / 2.0
    weighed_g = flour_g * 100.0 / (100.0 + extra_pct)
    grams = {f"{name}_g": weighed_g * pct / 100.0 for name, pct in formula_pct(recipe).items()}
    return {key: round(value, 1) for key, value in {"flour_g": weighed_g, **grams}.items()}


def batch_toml(
    *,
    name: str,
    stage: str,
    started_at: datetime,
    target_rise_pct: float | None,
    tub: Tub,
    grams: dict[str, float],
    events: Sequence[tuple[datetime, str]] = (),
    nodes: Sequence[tuple[str, str]] = (),
    preheat_min: float | None = None,
) -> str:
    """A batch file, as text; without ``grams`` it has no formula."""
    is_round = tub.shape == "round"
    base, top = (
        short_number(sides[0]) if is_round else [short_number(side) for side in sides]
        for sides in (tub.base_mm, tub.top_mm)
    )
    table: dict[str, object] = {"name": name, "stage": stage, "started": started_at}
    if target_rise_pct is None:
        table["target"] = "peak"
    else:
        table["target_rise_pct"] = short_number(target_rise_pct)
    if preheat_min is not None:
        table["preheat_min"] = short_number(preheat_min)
    table["vessel"] = {
        "shape": tub.shape,
        "base_mm": base,
        "top_mm": top,
        "depth_mm": short_number(tub.depth_mm),
        "sensor_to_base_mm": short_number(tub.sensor_to_base_mm),
    }
    if grams:
        table["formula"] = {key: short_number(value) for key, value in grams.items()}
    if nodes:
        table["nodes"] = dict(nodes)
    if events:
        table["events"] = [{"time": at, "kind": kind} for at, kind in events]
    return tomlkit.dumps(table)


def short_number(value: float) -> float | int:
    """A number as a file should show it: a whole one without its fraction."""
    return int(value) if value == int(value) else value


def bench_of(
    order: Order,
    air: Air,
    *,
    step_s: float = STEP_S,
    generator: Callable[[str], random.Random] = random.Random,
) -> tuple[Bench, WeighedRecipe]:
    """The dough of an order in its tub, and the recipe as weighed.

    ``generator`` makes, from a seed, what draws the dough and its top; another one makes another baking of the order.
    """
    kind = KINDS[order.dough]
    shared = order.seed if order.recipe_seed is None else order.recipe_seed
    rng = generator(f"dough {order.dough} {shared}")
    again = None if order.recipe_seed is None else generator(f"batch {order.dough} {order.seed}")
    start_c = None if air.start_c is None else air.start_c + rng.uniform(0.0, 1.5)
    recipe, traits = kind.draw(rng, start_c, again)
    if not order.is_live:
        traits = replace(traits, **dict.fromkeys(kind.leaven_traits, 0.0))
    tub = TUBS[order.tub]
    top = _top_of(recipe, order, generator)
    fill_frac = rng.uniform(*(FILLED_BY_PIECES if top.ball_frac < 1.0 and recipe.stage == "final proof" else FILLED))
    folds = tuple((60.0 * at, recipe.fold_share * rng.uniform(0.8, 1.2)) for at in order.folds_min)
    dough = kind.dough(traits, air.temp_c, folds, step_s=step_s)
    flour_g = filled_flour_g(dough.volume_ml, tub, fill_frac)
    folds_s = tuple(at for at, _ in folds)
    return _placed(dough, flour_g, air, order, top, folds_s, step_s), recipe


def _placed(
    dough: Dough[Any],
    flour_g: float,
    air: Air,
    order: Order,
    top: SurfaceTraits,
    folds_s: tuple[float, ...],
    step_s: float,
) -> Bench:
    return Bench(
        dough=dough,
        flour_g=flour_g,
        tub=TUBS[order.tub],
        air=air,
        sensors=Sensors(NOISE[order.noise], order.seed, folds_s, order.troubles),
        surface=Surface(top, cling_mm=_size_of(order.troubles, TroubleKind.CLINGING), folds_s=folds_s),
        troubles=order.troubles,
        last_fold_s=max(folds_s, default=0.0),
        target_rise_pct=order.target_rise_pct,
        step_s=step_s,
    )


def shaped(bench: Bench, recipe: WeighedRecipe, order: Order, *, step_s: float = STEP_S) -> tuple[Bench, WeighedRecipe]:
    """The final proof of a dough that has lived through its bulk rise on another bench, by a second order.

    The dough itself goes on: divided and shaped, it is another stage of the same yeast, water and gluten.
    """
    rng = random.Random(f"shaped {order.dough} {order.seed}")
    air = air_named(order.room, order.seed)
    proof = replace(recipe, stage="final proof", kind="final proof")  # type: ignore[type-var]
    bench.dough.begin_stage(air.temp_c, rng.uniform(*KNOCKED_OUT), step_s=step_s)
    top = _top_of(proof, order)
    fill_frac = rng.uniform(*(FILLED_BY_PIECES if top.ball_frac < 1.0 else FILLED))
    flour_g = filled_flour_g(bench.dough.volume_ml, TUBS[order.tub], fill_frac)
    return _placed(bench.dough, flour_g, air, order, top, (), step_s), proof


def _top_of(
    recipe: WeighedRecipe, order: Order, generator: Callable[[str], random.Random] = random.Random
) -> SurfaceTraits:
    """The dough's surface: alike in all batches of a recipe, not the same."""
    shared = order.seed if order.recipe_seed is None else order.recipe_seed
    rng = generator(f"top {order.dough} {recipe.stage} {shared}")
    top = surface_traits(water_of_all_flour_pct(recipe), recipe.kind, recipe.stage, rng)
    if order.recipe_seed is None:
        return top
    again = generator(f"top {order.dough} {recipe.stage} {shared} {order.seed}")
    return replace(top, dome_frac=top.dome_frac * again.uniform(0.8, 1.2))


def _size_of(troubles: Sequence[Trouble], kind: TroubleKind) -> float:
    return next((one.size for one in troubles if one.kind is kind), 0.0)


def _moments_s(order: Order) -> Iterator[float]:
    """When readings are taken, seconds after the start."""
    last_s = order.hours * 3600.0
    if not order.is_irregular:
        yield from (step * order.every_s for step in range(int(last_s / order.every_s) + 1))
        return
    rng = random.Random(f"moments {order.dough} {order.seed}")
    at_s = rng.uniform(0.0, order.every_s)
    while at_s <= last_s:
        yield round(at_s, 1)
        at_s += order.every_s * rng.uniform(0.4, 1.5)
        if rng.random() < 0.01:  # now and then a node is busy for a while
            at_s += min(600.0, order.every_s * rng.uniform(2.0, 10.0))


def _cell(scaled: int | None, scale: int) -> str:
    return "" if scaled is None else f"{scaled / scale:.{len(str(scale)) - 1}f}"


def record(order: Order, out: Path, *, step_s: float = STEP_S) -> Recorded:
    """Write ``READINGS.csv``, ``BATCH.toml``, ``truth.json`` and ``truth.csv`` into a directory.

    The dough is reckoned in steps of at most ``step_s``.

    Raises
    ------
    ValueError
        When the order names a room that does not exist.
    OSError
        When the directory cannot be written.
    """
    bench, recipe = bench_of(order, air_named(order.room, order.seed), step_s=step_s)
    return record_bench(bench, recipe, order, out)


def record_bench(
    bench: Bench,
    recipe: WeighedRecipe,
    order: Order,
    out: Path,
) -> Recorded:
    """The same of a dough that stands ready on its bench."""
    air = bench.air
    at_s = 0.0
    sensors = DoughSensors(bench, lambda: at_s)
    out.mkdir(parents=True, exist_ok=True)
    with (
        (out / "READINGS.csv").open("w", newline="", encoding="utf-8") as readings_file,
        (out / "truth.csv").open("w", newline="", encoding="utf-8") as truth_file,
    ):
        readings, truth = csv.writer(readings_file), csv.writer(truth_file)
        readings.writerow(["time", *SCALES])
        truth.writerow(["time", "rise_pct", "centre_mm", "edge_mm"])
        for at_s in _moments_s(order):
            sensors.start()
            measured = dict(zip(SCALES, sampling.measure(sensors), strict=True))
            if not order.has_probe:
                measured["dough_temp_c"] = None
            bench.advance_to(at_s)
            time = rfc3339(order.start_at + timedelta(seconds=at_s))
            readings.writerow((time, *(_cell(scaled, SCALES[channel]) for channel, scaled in measured.items())))
            rise_pct = bench.dough.rise_pct
            edge_mm = bench.edge_mm
            truth.writerow(
                (
                    time,
                    "" if rise_pct is None else f"{rise_pct:.3f}",
                    f"{bench.tub.sensor_to_base_mm - bench.distance_mm:.2f}",
                    "" if edge_mm is None else f"{edge_mm:.2f}",
                )
            )
    folds_min = order.folds_min if order.noted_folds_min is None else order.noted_folds_min
    events = [(order.start_at + timedelta(minutes=at), "fold") for at in folds_min]
    events += [(order.start_at + timedelta(seconds=at), "move") for at, _ in air.moves if at <= order.hours * 3600.0]
    events += [
        (order.start_at + timedelta(seconds=at), "lid")
        for one in order.troubles
        if one.is_logged
        for at in (one.start_s, one.end_s)
        if at <= order.hours * 3600.0
    ]
    if order.is_ended:
        events.append((order.start_at + timedelta(hours=order.hours), "end"))
    (out / "BATCH.toml").write_text(
        batch_toml(
            name=order.name,
            stage=recipe.stage,
            started_at=order.start_at,
            target_rise_pct=order.target_rise_pct,
            tub=bench.tub,
            grams=formula_g(recipe, bench.flour_g) if order.has_formula else {},
            events=sorted(events),
        ),
        encoding="utf-8",
    )
    became = truth_of(bench, order.name, order.start_at)
    (out / "truth.json").write_text(json.dumps(became, indent=1) + "\n", encoding="utf-8")
    return Recorded(recipe, became)


def truth_of(bench: Bench, name: str, start_at: datetime) -> dict[str, object]:
    """What really happened so far, ready for JSON; null where it has not."""
    outcome = bench.outcomes.outcome

    def moment(after_s: float | None) -> str | None:
        return None if after_s is None else rfc3339(start_at + timedelta(seconds=after_s))

    start_ml = bench.start_volume_ml
    return {
        "name": name,
        "ready_at": moment(outcome.ready_s),
        "peak_at": moment(outcome.peak_s),
        "peak_rise_pct": None if outcome.peak_rise_pct is None else round(outcome.peak_rise_pct, 2),
        "start_volume_ml": None if start_ml is None else round(start_ml, 1),
    }
