"""One dough recorded as fast as the machine can: readings, batch file and the truth, to test forecasts against."""

import csv
import json
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import tomlkit

from firmware_sim.bench.air import Air, air_named
from firmware_sim.bench.bench import TUBS, Bench, DoughSensors, Tub
from firmware_sim.bench.sensors import NOISE, Sensors
from firmware_sim.doughs.catalogue import KINDS
from firmware_sim.doughs.dough import STEP_S
from firmware_sim.doughs.recipes import WeighedRecipe
from firmware_sim.node import sampling


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
    grams = {
        "flour_g": weighed_g,
        "water_g": weighed_g * recipe.water_pct / 100.0,
        "salt_g": weighed_g * recipe.salt_pct / 100.0,
        "sugar_g": weighed_g * recipe.sugar_pct / 100.0,
        "fat_g": weighed_g * recipe.fat_pct / 100.0,
        "instant_yeast_g": weighed_g * recipe.instant_yeast_pct / 100.0,
        "sourdough_g": weighed_g * recipe.sourdough_pct / 100.0,
    }
    return {key: round(value, 1) for key, value in grams.items() if value > 0}


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


def bench_of(order: Order, air: Air, *, step_s: float = STEP_S) -> tuple[Bench, WeighedRecipe]:
    """The dough of an order in its tub, and the recipe as weighed."""
    kind = KINDS[order.dough]
    rng = random.Random(f"dough {order.dough} {order.seed}")
    start_c = None if air.start_c is None else air.start_c + rng.uniform(0.0, 1.5)
    recipe, traits = kind.draw(rng, start_c)
    tub = TUBS[order.tub]
    flour_g = filled_flour_g(traits.start_ml, tub, rng.uniform(0.22, 0.30))
    folds = tuple((60.0 * at, recipe.fold_share * rng.uniform(0.8, 1.2)) for at in order.folds_min)
    bench = Bench(
        dough=kind.dough(traits, air.temp_c, folds, step_s=step_s),
        flour_g=flour_g,
        tub=tub,
        air=air,
        sensors=Sensors(NOISE[order.noise], order.seed, tuple(at for at, _ in folds)),
        last_fold_s=max((at for at, _ in folds), default=0.0),
        target_rise_pct=order.target_rise_pct,
        step_s=step_s,
    )
    return bench, recipe


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


def _cell(scaled: int | None, per_unit: int, digits: int) -> str:
    return "" if scaled is None else f"{scaled / per_unit:.{digits}f}"


def record(order: Order, out: Path) -> None:
    """Write ``READINGS.csv``, ``BATCH.toml``, ``truth.json`` and ``truth.csv`` into a directory.

    Raises
    ------
    ValueError
        When the order names a room that does not exist.
    OSError
        When the directory cannot be written.
    """
    air = air_named(order.room, order.seed)
    bench, recipe = bench_of(order, air)
    at_s = 0.0
    sensors = DoughSensors(bench, lambda: at_s)
    out.mkdir(parents=True, exist_ok=True)
    with (
        (out / "READINGS.csv").open("w", newline="", encoding="utf-8") as readings_file,
        (out / "truth.csv").open("w", newline="", encoding="utf-8") as truth_file,
    ):
        readings, truth = csv.writer(readings_file), csv.writer(truth_file)
        readings.writerow(["time", "air_temp_c", "humidity_pct", "dough_temp_c", "distance_mm"])
        truth.writerow(["time", "rise_pct"])
        for at_s in _moments_s(order):
            sensors.start()
            air_temp, humidity, dough_temp, distance = sampling.measure(sensors)
            bench.advance_to(at_s)
            time = rfc3339(order.start_at + timedelta(seconds=at_s))
            cells = (
                _cell(air_temp, 100, 2),
                _cell(humidity, 100, 2),
                _cell(dough_temp if order.has_probe else None, 100, 2),
                _cell(distance, 10, 1),
            )
            readings.writerow((time, *cells))
            rise_pct = bench.dough.rise_pct
            truth.writerow((time, "" if rise_pct is None else f"{rise_pct:.3f}"))
    name = f"{order.dough} {order.seed}"
    folds_min = order.folds_min if order.noted_folds_min is None else order.noted_folds_min
    events = [(order.start_at + timedelta(minutes=at), "fold") for at in folds_min]
    events += [(order.start_at + timedelta(seconds=at), "move") for at, _ in air.moves if at <= order.hours * 3600.0]
    (out / "BATCH.toml").write_text(
        batch_toml(
            name=name,
            stage=recipe.stage,
            started_at=order.start_at,
            target_rise_pct=order.target_rise_pct,
            tub=bench.tub,
            grams=formula_g(recipe, bench.flour_g) if order.has_formula else {},
            events=sorted(events),
        ),
        encoding="utf-8",
    )
    (out / "truth.json").write_text(
        json.dumps(truth_of(bench, name, order.start_at), indent=1) + "\n", encoding="utf-8"
    )


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
