"""Many recordings at once: doughs of every simulator with the histories that kitchens give them, drawn from seeds.

A seed decides everything about its recording, whatever else is recorded beside it. There are two catalogues: in the
troubled one lids, hands, water, forgotten notes and the like get between the sensors and the dough; in the clean one
the same doughs stand under the same sensors left in peace. Each directory holds what ``record`` writes and
``about.json``, which says what kind of history it is so that results can be grouped. All the odds are judgement.
"""

import json
import random
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime, timedelta
from multiprocessing import get_context
from pathlib import Path
from typing import TypeVar

from firmware_sim.bench.air import air_named
from firmware_sim.bench.bench import TUBS, Bench
from firmware_sim.bench.faults import HAND_MM, HAND_S
from firmware_sim.bench.sensors import UNTROUBLED
from firmware_sim.bench.troubles import Trouble, TroubleKind
from firmware_sim.doughs.catalogue import KINDS, names_of
from firmware_sim.doughs.dough import STEP_S
from firmware_sim.doughs.recipes import formula_pct, leaven_of, water_of_all_flour_pct
from firmware_sim.recordings.record import Order, Recorded, bench_of, record, record_bench, shaped

T = TypeVar("T")
FIRST_DAY = datetime(2026, 1, 5, tzinfo=UTC)
LONGEST_H, LONGEST_COLD_H = 20.0, 36.0
ROUGH_STEP_S = 30.0  # enough to see how far a dough rises and when it peaks
HISTORIES = {
    "steady room": 22,
    "cycling cabinet": 16,
    "drifting kitchen": 16,
    "out of the refrigerator": 12,
    "cool proof": 8,
    "cold proof": 6,
    "warm proof": 12,
    "hot proofer": 8,
}
TROUBLED, CLEAN = "troubled", "clean"
CATALOGUES = (TROUBLED, CLEAN)
TROUBLES = {  # chance of each in one batch
    TroubleKind.LID: 0.15,
    TroubleKind.CONDENSATION: 0.10,
    TroubleKind.HAND: 0.25,
    TroubleKind.BLIND_ZONE: 0.12,
    TroubleKind.MOVED_TUB: 0.10,
    TroubleKind.CLINGING: 0.10,
    TroubleKind.UNLOGGED_FOLD: 0.30,
    TroubleKind.PROBE_OUT: 0.08,
    TroubleKind.DRIFT: 0.12,
}
LIFELESS = 0.03
LOGGED_LIDS = 0.3
SAMPLING_S = {10.0: 15, 15.0: 10, 20.0: 10, 30.0: 20, 60.0: 25, 120.0: 10, 180.0: 5, 300.0: 5}
NOISES = {"mild": 20, "usual": 60, "rough": 20}
FOLDED_FROM_H = 1.0  # a dough ready sooner is not folded
BATCHES_FROM, CHAINS_FROM = 1_000_000_000, 2_000_000_000  # seeds of what belongs to another seed
STAGES = ("first rise", "final proof", "preferment")
STAGES_NOT_FOLDED = ("final proof", "preferment")


@dataclass(frozen=True, slots=True)
class History:
    """A recording to be made, and the kind of history it is."""

    catalogue: str
    simulator: str
    history: str
    order: Order

    @property
    def folds(self) -> str:
        """Whether it is folded, and whether the batch file tells: none, told or untold."""
        return "none" if not self.order.folds_min else "told" if self.order.noted_folds_min else "untold"

    @property
    def judged_by(self) -> str:
        """What it waits for: rise or peak."""
        return "peak" if self.order.target_rise_pct is None else "rise"


def _one_of(rng: random.Random, odds: dict[T, int]) -> T:
    return rng.choices(list(odds), list(odds.values()))[0]


def _room(history: str, is_sour: bool, stage: str, rng: random.Random) -> str:
    """The air of a kind of history; sourdough likes neither cold nor heat."""
    if history == "steady room":
        return f"steady:{rng.uniform(20.0 if is_sour else 18.0, 28.5):.1f}"
    if history == "cycling cabinet":
        return f"cabinet:{rng.uniform(24.5, 29.0 if is_sour else 32.0):.1f}"
    if history == "drifting kitchen":
        from_c = rng.uniform(19.0 if is_sour else 17.0, 26.0)
        to_c = from_c + rng.uniform(3.0, 7.0) * (1.0 if from_c < 21.0 or rng.random() < 0.6 else -1.0)
        return f"drift:{from_c:.1f}:{to_c:.1f}"
    if history == "out of the refrigerator":
        return f"fridge-out:{rng.uniform(3.0, 7.0):.1f}:{rng.uniform(21.0, 28.0):.1f}"
    if history == "cool proof":
        return f"steady:{rng.uniform(16.0, 19.0) if is_sour else rng.uniform(12.0, 17.0):.1f}"
    if history == "cold proof":
        return f"steady:{rng.uniform(9.0, 14.0) if is_sour else rng.uniform(6.0, 11.0):.1f}"
    if history == "hot proofer" and not is_sour:
        return f"cabinet:{rng.uniform(38.0, 52.0) if stage == 'final proof' else rng.uniform(36.0, 42.0):.1f}"
    place = rng.choice(("warm", "cabinet"))
    return f"{place}:{rng.uniform(28.5, 31.5) if is_sour else rng.uniform(30.0, 35.0):.1f}"


def _simulated(order: Order) -> Bench:
    """What a dough would do until it has fallen or the longest recording is over."""
    bench, _ = bench_of(order, air_named(order.room, order.seed), step_s=ROUGH_STEP_S)
    _run_on(bench, order)
    return bench


def _run_on(bench: Bench, order: Order) -> None:
    while bench.dough.now_s < order.hours * 3600.0 and bench.outcomes.outcome.peak_s is None:
        bench.advance_to(bench.dough.now_s + 900.0)


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


def drawn_history(
    simulator: str,
    seed: int,
    *,
    has_formula: bool,
    catalogue: str = TROUBLED,
    batch: int | None = None,
    target_pct: float | None = None,
    stages: tuple[str, ...] = STAGES,
) -> History:
    """The history that a seed stands for: its dough, air, folds and target are the same in both catalogues.

    Parameters
    ----------
    batch
        Which batch of the seed's recipe, from 1, where several are recorded: kitchen, tub and recipe are then the
        seed's, the day's air and the dough's small differences the batch's.
    target_pct
        The target it is given; None: one that it mostly reaches.
    stages
        The stages that its dough may be of.
    """
    rng = random.Random(f"history {simulator} {seed}")
    own = rng if batch is None else random.Random(f"history {simulator} {seed} {batch}")
    dough = rng.choice([name for name in names_of(simulator) if KINDS[name].recipe.stage in stages])
    recipe = KINDS[dough].recipe
    history = _one_of(rng, HISTORIES)
    noise = _one_of(rng, NOISES)
    order = Order(
        dough=dough,
        seed=seed if batch is None else BATCHES_FROM + 100 * seed + batch,
        room=_room(history, recipe.sourdough_pct > 0, recipe.stage, own),
        tub=rng.choice(sorted(TUBS)),
        noise=UNTROUBLED[noise] if catalogue == CLEAN else noise,
        every_s=_one_of(rng, SAMPLING_S),
        hours=LONGEST_COLD_H if history == "cold proof" else LONGEST_H,
        start_at=FIRST_DAY + timedelta(days=seed % 300 + 2 * (batch or 0), minutes=rng.randrange(24 * 60)),
        target_rise_pct=1000.0,  # out of reach: the first life only shows what the dough can do
        is_irregular=rng.random() < 0.5,
        has_probe=rng.random() < 0.85,
        has_formula=has_formula,
        recipe_seed=None if batch is None else seed,
        batch=batch or 1,
    )
    by_peak = 0.8 if recipe.stage == "preferment" else 0.2 if recipe.sourdough_pct > 0 else 0.0
    is_by_peak = rng.random() < by_peak
    is_folded = recipe.stage not in STAGES_NOT_FOLDED and rng.random() < 0.6
    is_live = own.random() >= LIFELESS
    bench = _simulated(order)
    highest_pct = _highest_pct(bench)
    wanted_pct = target_pct or _target_pct(highest_pct, own)
    folds_min: tuple[float, ...] = ()
    if is_folded:
        trial = _simulated(replace(order, target_rise_pct=min(wanted_pct, 0.9 * highest_pct)))
        ready_s = trial.outcomes.outcome.ready_s or trial.dough.now_s
        if ready_s >= FOLDED_FROM_H * 3600.0:
            folds_min = _folds_min(ready_s, own)
            order = replace(order, folds_min=folds_min)
            bench = _simulated(order)
    if target_pct is None and wanted_pct <= highest_pct:  # folds cost gas
        wanted_pct = max(30.0, min(wanted_pct, 5.0 * int(0.97 * _highest_pct(bench) / 5.0)))
    # A baker writes a fold down within a minute or so of making it.
    noted_folds_min = tuple(round(at + own.gauss(0.0, 0.5), 1) for at in folds_min)
    order = replace(
        order,
        target_rise_pct=None if is_by_peak else wanted_pct,
        hours=_hours_of(bench, order),
        noted_folds_min=noted_folds_min,
        is_live=is_live,
    )
    if catalogue == TROUBLED:
        order = _troubled(bench, order, wanted_pct, random.Random(f"troubles {simulator} {seed} {batch}"))
    return History(catalogue=catalogue, simulator=simulator, history=history, order=order)


def drawn_batches(
    simulator: str, seed: int, count: int, *, has_formula: bool, catalogue: str = TROUBLED
) -> list[History]:
    """Batches of one recipe in one kitchen, one after the other, to one target."""
    first = drawn_history(simulator, seed, has_formula=has_formula, catalogue=catalogue, batch=1)
    target_pct = first.order.target_rise_pct
    return [first] + [
        drawn_history(simulator, seed, has_formula=has_formula, catalogue=catalogue, batch=batch, target_pct=target_pct)
        for batch in range(2, count + 1)
    ]


def drawn_chain(simulator: str, seed: int, *, has_formula: bool, catalogue: str = TROUBLED) -> tuple[History, History]:
    """A first rise that is ended soon after it is ready, and the final proof of the same dough."""
    drawn = drawn_history(simulator, seed, has_formula=has_formula, catalogue=catalogue, stages=("first rise",))
    rng = random.Random(f"chain {simulator} {seed}")
    bulk = drawn.order
    if bulk.target_rise_pct is None:
        bulk = replace(bulk, target_rise_pct=KINDS[bulk.dough].recipe.default_target_pct)
    bench, recipe = bench_of(bulk, air_named(bulk.room, bulk.seed), step_s=ROUGH_STEP_S)
    while bench.dough.now_s < bulk.hours * 3600.0 and bench.outcomes.outcome.ready_s is None:
        bench.advance_to(bench.dough.now_s + 300.0)
    bench.advance_to(bench.dough.now_s + rng.uniform(0.0, 1500.0))
    bulk = replace(bulk, hours=round(bench.dough.now_s / 3600.0, 2), is_ended=True)
    history = rng.choice(("steady room", "cycling cabinet", "warm proof"))
    proof = Order(
        dough=bulk.dough,
        seed=CHAINS_FROM + seed,
        room=_room(history, recipe.sourdough_pct > 0, "final proof", rng),
        tub=rng.choice(sorted(TUBS)),
        noise=bulk.noise,
        every_s=bulk.every_s,
        hours=LONGEST_H,
        start_at=bulk.start_at + timedelta(hours=bulk.hours, minutes=rng.randrange(5, 30)),
        target_rise_pct=1000.0,
        is_irregular=bulk.is_irregular,
        has_probe=bulk.has_probe,
        has_formula=has_formula,
        is_live=bulk.is_live,
    )
    piece, _ = shaped(bench, recipe, proof, step_s=ROUGH_STEP_S)
    _run_on(piece, proof)
    wanted_pct = min(rng.uniform(40.0, 90.0), rng.uniform(0.6, 0.9) * _highest_pct(piece))
    target_pct = max(20.0, 5.0 * round(wanted_pct / 5.0))
    proof = replace(proof, target_rise_pct=target_pct, hours=_hours_of(piece, proof))
    if catalogue == TROUBLED:
        proof = _troubled(piece, proof, target_pct, random.Random(f"troubles of the proof {simulator} {seed}"))
    return replace(drawn, order=bulk), History(catalogue=catalogue, simulator=simulator, history=history, order=proof)


def _hours_of(bench: Bench, order: Order) -> float:
    """How long to record a dough: until it has clearly fallen. [h]"""
    peak_s = bench.outcomes.outcome.peak_s
    if peak_s is None:
        return order.hours
    return round(min(order.hours, peak_s / 3600.0 + max(1.0, 0.25 * peak_s / 3600.0)), 2)


def _troubled(bench: Bench, order: Order, target_pct: float, rng: random.Random) -> Order:
    troubles = _troubles(bench, order, target_pct, rng)
    is_untold = any(one.kind is TroubleKind.UNLOGGED_FOLD for one in troubles)
    return replace(order, troubles=troubles, noted_folds_min=() if is_untold else order.noted_folds_min)


def _troubles(bench: Bench, order: Order, target_pct: float, rng: random.Random) -> tuple[Trouble, ...]:
    """What befalls one batch; ``bench`` shows what its dough would do. Sizes are judgement."""
    found = []
    end_s = order.hours * 3600.0
    tub = bench.tub
    for kind, chance in TROUBLES.items():
        happens = rng.random() < chance
        start_s = rng.uniform(0.0, 0.9) * end_s
        lasts_s = rng.uniform(300.0, 5400.0)
        part, sign = rng.random(), rng.choice((-1.0, 1.0))
        if not happens or (kind is TroubleKind.UNLOGGED_FOLD and not order.folds_min):
            continue
        until_s, size = start_s + lasts_s, 0.0
        if kind is TroubleKind.LID:
            size = tub.sensor_to_base_mm - tub.depth_mm - 3.0 - 12.0 * part
            until_s = end_s if rng.random() < 0.15 else until_s
        elif kind is TroubleKind.CONDENSATION:
            size = 20.0 + 40.0 * part
        elif kind is TroubleKind.HAND:
            until_s = start_s + rng.uniform(*HAND_S)
            size = rng.uniform(*HAND_MM) / 10.0
        elif kind is TroubleKind.BLIND_ZONE:
            start_s, until_s = 0.0, end_s
            # It bites somewhere between half of the target and a little above it.
            first_ml = bench.start_volume_ml or bench.volume_ml
            bites_mm = tub.level_mm(first_ml * (1.0 + (0.5 + 0.65 * part) * target_pct / 100.0))
            size = max(20.0, tub.sensor_to_base_mm - bites_mm)
        elif kind is TroubleKind.MOVED_TUB:
            until_s, size = end_s, sign * (3.0 + 12.0 * part)
        elif kind is TroubleKind.CLINGING:
            start_s, until_s, size = 0.0, end_s, 3.0 + 7.0 * part
        elif kind is TroubleKind.PROBE_OUT:
            until_s = end_s if part < 0.5 else until_s
        elif kind is TroubleKind.DRIFT:
            start_s, until_s, size = 0.0, end_s, sign * (2.0 + 2.0 * part)
        is_logged = kind is TroubleKind.LID and rng.random() < LOGGED_LIDS
        found.append(Trouble(round(start_s, 1), round(min(until_s, end_s), 1), round(size, 1), kind, is_logged))
    return tuple(found)


def _highest_pct(bench: Bench) -> float:
    return bench.outcomes.outcome.peak_rise_pct or bench.dough.rise_pct or 0.0


def _write_about(drawn: History, recorded: Recorded, folder: Path, **more: object) -> None:
    order, recipe = drawn.order, recorded.recipe
    about = {
        "simulator": drawn.simulator,
        "seed": order.seed,
        "recipe_seed": order.recipe_seed,
        "batch": order.batch,
        "catalogue": drawn.catalogue,
        "dough": order.dough,
        "kind": recipe.kind,
        "stage": recipe.stage,
        "leaven": leaven_of(recipe),
        "is_live": order.is_live,
        "formula_pct": formula_pct(recipe),
        "water_of_all_flour_pct": round(water_of_all_flour_pct(recipe), 1),
        "history": drawn.history,
        "room": order.room,
        "folds": drawn.folds,
        "folds_min": order.folds_min,
        "troubles": [{**asdict(one), "kind": one.kind.value} for one in order.troubles],
        "judged_by": drawn.judged_by,
        "target_rise_pct": order.target_rise_pct,
        "reaches_target": None if order.target_rise_pct is None else recorded.truth["ready_at"] is not None,
        "ready_at": recorded.truth["ready_at"],
        "peak_at": recorded.truth["peak_at"],
        "vessel": order.tub,
        "noise": order.noise,
        "every_s": order.every_s,
        "is_irregular": order.is_irregular,
        "has_probe": order.has_probe,
        "has_formula": order.has_formula,
        "hours": order.hours,
        **more,
    }
    (folder / "about.json").write_text(json.dumps(about, indent=1) + "\n", encoding="utf-8")


@dataclass(frozen=True, slots=True)
class Wanted:
    """What to record of each seed: its history; several batches of its recipe; or a bulk rise and its final proof.

    ``step_s`` is that of a history: by ``ROUGH_STEP_S`` it is another dough by a hair, in half the time.
    """

    has_formula: bool = False
    catalogue: str = TROUBLED
    batches: int = 0
    is_chained: bool = False
    step_s: float = STEP_S


def write_history(simulator: str, seed: int, out: Path, wanted: Wanted) -> None:
    """Draw what a seed stands for and record it.

    One history goes into ``OUT/SIMULATOR-SEED``, batches of a recipe into ``OUT/SIMULATOR-SEED-BATCH``, a chain into
    ``OUT/SIMULATOR-SEED-bulk`` and ``-proof``.

    Raises
    ------
    OSError
        When a directory cannot be written.
    """
    name, has_formula, catalogue = f"{simulator}-{seed:05d}", wanted.has_formula, wanted.catalogue
    if wanted.is_chained:
        bulk, proof = drawn_chain(simulator, seed, has_formula=has_formula, catalogue=catalogue)
        first, second = out / f"{name}-bulk", out / f"{name}-proof"
        bench, recipe = bench_of(bulk.order, air_named(bulk.order.room, bulk.order.seed))
        _write_about(bulk, record_bench(bench, recipe, bulk.order, first), first, followed_by=second.name)
        piece, as_shaped = shaped(bench, recipe, proof.order)
        _write_about(proof, record_bench(piece, as_shaped, proof.order, second), second, follows=first.name)
    elif wanted.batches:
        for drawn in drawn_batches(simulator, seed, wanted.batches, has_formula=has_formula, catalogue=catalogue):
            folder = out / f"{name}-{drawn.order.batch:02d}"
            _write_about(drawn, record(drawn.order, folder), folder)
    else:
        drawn = drawn_history(simulator, seed, has_formula=has_formula, catalogue=catalogue)
        _write_about(drawn, record(drawn.order, out / name, step_s=wanted.step_s), out / name)


def write_histories(
    simulators: Sequence[str],
    seeds: Sequence[int],
    out: Path,
    *,
    wanted: Wanted | None = None,
    processes: int = 2,
    progress: Callable[[int, int], None] = lambda done, of: None,
) -> None:
    """Record every seed of every simulator, reporting to ``progress`` how many are done.

    Raises
    ------
    OSError
        When a directory cannot be written.
    """
    tasks = [(simulator, seed, out, wanted or Wanted()) for seed in seeds for simulator in simulators]
    with ProcessPoolExecutor(max(1, processes), mp_context=get_context("spawn")) as pool:
        futures = [pool.submit(write_history, *task) for task in tasks]
        for done, future in enumerate(as_completed(futures), start=1):
            future.result()
            progress(done, len(tasks))
