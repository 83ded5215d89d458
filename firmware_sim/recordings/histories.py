"""Many recordings at once: doughs of every simulator with the histories that kitchens give them, drawn from seeds.

A seed decides everything about its recording, whatever else is recorded beside it. Each directory holds what ``record``
writes and ``about.json``, which says what kind of history it is so that results can be grouped. All the odds are
judgement.
"""

import json
import random
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from multiprocessing import get_context
from pathlib import Path
from typing import TypeVar

from firmware_sim.bench.air import air_named
from firmware_sim.bench.bench import TUBS, Bench
from firmware_sim.doughs.catalogue import KINDS, names_of
from firmware_sim.recordings.record import Order, bench_of, record

T = TypeVar("T")
FIRST_DAY = datetime(2026, 1, 5, tzinfo=UTC)
LONGEST_H = 14.0
ROUGH_STEP_S = 30.0  # enough to see how far a dough rises and when it peaks
HISTORIES = {
    "steady room": 25,
    "cycling cabinet": 20,
    "drifting kitchen": 20,
    "out of the refrigerator": 12,
    "cold proof": 10,
    "warm proof": 13,
}
SAMPLING_S = {10.0: 15, 15.0: 10, 20.0: 10, 30.0: 20, 60.0: 25, 120.0: 10, 180.0: 5, 300.0: 5}
NOISES = {"mild": 20, "usual": 60, "rough": 20}
FOLDED_FROM_H = 1.0  # a dough ready sooner is not folded
STAGES_NOT_FOLDED = ("final proof", "preferment")


@dataclass(frozen=True, slots=True)
class History:
    """A recording to be made, and the kind of history it is."""

    simulator: str
    history: str
    folds: str
    judged_by: str
    order: Order


def _one_of(rng: random.Random, odds: dict[T, int]) -> T:
    return rng.choices(list(odds), list(odds.values()))[0]


def _room(history: str, is_wild: bool, rng: random.Random) -> str:
    """The air of a kind of history; sourdough likes neither cold nor heat."""
    if history == "steady room":
        return f"steady:{rng.uniform(20.0 if is_wild else 18.0, 28.5):.1f}"
    if history == "cycling cabinet":
        return f"cabinet:{rng.uniform(24.5, 29.0 if is_wild else 32.0):.1f}"
    if history == "drifting kitchen":
        from_c = rng.uniform(19.0 if is_wild else 17.0, 26.0)
        to_c = from_c + rng.uniform(3.0, 7.0) * (1.0 if from_c < 21.0 or rng.random() < 0.6 else -1.0)
        return f"drift:{from_c:.1f}:{to_c:.1f}"
    if history == "out of the refrigerator":
        return f"fridge-out:{rng.uniform(3.0, 7.0):.1f}:{rng.uniform(21.0, 28.0):.1f}"
    if history == "cold proof":
        return f"steady:{rng.uniform(16.0, 19.0) if is_wild else rng.uniform(12.0, 17.0):.1f}"
    place = rng.choice(("warm", "cabinet"))
    return f"{place}:{rng.uniform(28.5, 31.5) if is_wild else rng.uniform(31.0, 38.0):.1f}"


def _simulated(order: Order) -> Bench:
    """What a dough would do until it has fallen or the longest recording is over."""
    bench, _ = bench_of(order, air_named(order.room, order.seed), step_s=ROUGH_STEP_S)
    while bench.dough.now_s < LONGEST_H * 3600.0 and bench.outcomes.outcome.peak_s is None:
        bench.advance_to(bench.dough.now_s + 900.0)
    return bench


def _folds_min(ready_s: float, rng: random.Random) -> tuple[float, ...]:
    """Folds in the first half of the rise, half an hour or more apart."""
    half_min = 0.5 * ready_s / 60.0
    at_min = rng.uniform(20.0, 50.0)
    found = []
    for _ in range(rng.randint(1, 4)):
        if at_min < half_min:
            found.append(round(at_min, 1))
        at_min += rng.uniform(22.0, 50.0)
    return tuple(found) or (round(0.35 * ready_s / 60.0, 1),)


def _target_pct(highest_pct: float, rng: random.Random) -> float:
    """A target of 50 to 120 % that the dough mostly reaches, to 5 %."""
    wanted = rng.uniform(50.0, 120.0)
    if rng.random() > 0.04:
        wanted = min(wanted, rng.uniform(0.75, 0.95) * highest_pct)
    return max(30.0, round(wanted / 5.0) * 5.0)


def drawn_history(simulator: str, seed: int, *, has_formula: bool) -> History:
    """The history that a seed stands for."""
    rng = random.Random(f"history {simulator} {seed}")
    dough = rng.choice(names_of(simulator))
    recipe = KINDS[dough].recipe
    history = _one_of(rng, HISTORIES)
    order = Order(
        dough=dough,
        seed=seed,
        room=_room(history, recipe.sourdough_pct > 0, rng),
        tub=rng.choice(sorted(TUBS)),
        noise=_one_of(rng, NOISES),
        every_s=_one_of(rng, SAMPLING_S),
        hours=LONGEST_H,
        start_at=FIRST_DAY + timedelta(days=seed % 300, minutes=rng.randrange(24 * 60)),
        target_rise_pct=1000.0,  # out of reach: the first life only shows what the dough can do
        is_irregular=rng.random() < 0.5,
        has_probe=rng.random() < 0.85,
        has_formula=has_formula,
    )
    by_peak = 0.8 if recipe.stage == "preferment" else 0.2 if recipe.sourdough_pct > 0 else 0.0
    is_by_peak = rng.random() < by_peak
    highest_pct = _highest_pct(_simulated(order))
    target_pct = _target_pct(highest_pct, rng)
    folds = "none"
    if recipe.stage not in STAGES_NOT_FOLDED and rng.random() < 0.6:
        trial = _simulated(replace(order, target_rise_pct=min(target_pct, 0.9 * highest_pct)))
        ready_s = trial.outcomes.outcome.ready_s or trial.dough.now_s
        if ready_s >= FOLDED_FROM_H * 3600.0:
            folds = "untold" if rng.random() < 0.25 else "told"
            folds_min = _folds_min(ready_s, rng)
            # A baker writes a fold down within a minute or so of making it.
            noted_folds_min = tuple(round(at + rng.gauss(0.0, 0.5), 1) for at in folds_min) if folds == "told" else ()
            order = replace(order, folds_min=folds_min, noted_folds_min=noted_folds_min)
    bench = _simulated(order)
    if target_pct <= highest_pct:  # folds cost gas
        target_pct = max(30.0, min(target_pct, 5.0 * int(0.97 * _highest_pct(bench) / 5.0)))
    peak_s = bench.outcomes.outcome.peak_s
    hours = LONGEST_H if peak_s is None else min(LONGEST_H, peak_s / 3600.0 + max(1.0, 0.25 * peak_s / 3600.0))
    return History(
        simulator=simulator,
        history=history,
        folds=folds,
        judged_by="peak" if is_by_peak else "rise",
        order=replace(order, target_rise_pct=None if is_by_peak else target_pct, hours=round(hours, 2)),
    )


def _highest_pct(bench: Bench) -> float:
    return bench.outcomes.outcome.peak_rise_pct or bench.dough.rise_pct or 0.0


def write_history(simulator: str, seed: int, out: Path, has_formula: bool) -> None:
    """Draw one history and record it into ``OUT/SIMULATOR-SEED``.

    Raises
    ------
    OSError
        When the directory cannot be written.
    """
    drawn = drawn_history(simulator, seed, has_formula=has_formula)
    order = drawn.order
    folder = out / f"{simulator}-{seed:05d}"
    record(order, folder)
    about = {
        "simulator": simulator,
        "seed": seed,
        "dough": order.dough,
        "stage": KINDS[order.dough].recipe.stage,
        "history": drawn.history,
        "room": order.room,
        "folds": drawn.folds,
        "folds_min": order.folds_min,
        "judged_by": drawn.judged_by,
        "target_rise_pct": order.target_rise_pct,
        "vessel": order.tub,
        "noise": order.noise,
        "every_s": order.every_s,
        "is_irregular": order.is_irregular,
        "has_probe": order.has_probe,
        "has_formula": order.has_formula,
        "hours": order.hours,
    }
    (folder / "about.json").write_text(json.dumps(about, indent=1) + "\n", encoding="utf-8")


def write_histories(
    simulators: Sequence[str],
    seeds: Sequence[int],
    out: Path,
    *,
    has_formula: bool = False,
    processes: int = 2,
    progress: Callable[[int, int], None] = lambda done, of: None,
) -> None:
    """Record every seed of every simulator, reporting to ``progress`` how many are done.

    Raises
    ------
    OSError
        When a directory cannot be written.
    """
    tasks = [(simulator, seed, out, has_formula) for seed in seeds for simulator in simulators]
    with ProcessPoolExecutor(max(1, processes), mp_context=get_context("spawn")) as pool:
        futures = [pool.submit(write_history, *task) for task in tasks]
        for done, future in enumerate(as_completed(futures), start=1):
            future.result()
            progress(done, len(tasks))
