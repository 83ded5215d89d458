"""A forecaster that knows a simulator's equations and its spread of traits, and sees the same readings.

How well could anybody foretell these doughs? It takes the order that a recording was made by: recipe as weighed, tub,
air (that to come too), the moments of folds, whether the dough was put in as a ball, and when something stood in the
sensors' way. It does not know what was drawn: the traits of dough and top, how full the tub is, how much gas a fold
took, how far a tub was moved or a sensor drifted, by how much the probe is off.

What was drawn is a vector of standard normal numbers, so a dough is a function of that vector. An ensemble of vectors
follows the readings from checkpoint to checkpoint by smoothing with multiple data assimilation (Emerick & Reynolds
2013, Comput. Geosci. 55, 3-15, from memory): each reading counts in several steps, with its variance multiplied so
that all steps together count it once, and after each step every dough is simulated anew from its start.

It is a good forecaster, not the best there can be: a small ensemble is noisy, and what is far from linear is followed
in steps only.
"""

import hashlib
import json
import random
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from statistics import NormalDist

import numpy as np
from accuracy.judging import LEVELS, Quantiles, Said
from numpy.typing import NDArray

from firmware_sim.bench.air import air_named
from firmware_sim.bench.bench import Bench
from firmware_sim.bench.sensors import NOISE
from firmware_sim.bench.troubles import TroubleKind
from firmware_sim.doughs.catalogue import KINDS
from firmware_sim.doughs.stochastic import WALK_EVERY_S, StochasticDough
from firmware_sim.recordings.histories import drawn_history
from firmware_sim.recordings.record import Order, bench_of
from monitor.backtest.recordings import ABOUT_NAME, Recording
from monitor.dough.crossings import weighted_quantiles
from monitor.dough.track import Series

Array = NDArray[np.float64]

N_MEMBERS = 64
STEPS = (1, 2)  # of the first assimilations; one of each later one, which tells less
SIMULATED_STEP_S = 120.0  # ready and peak move by a minute at the most against the simulators' own step (measured)
SIMULATED_STEPS_S = {"viscoelastic": 30.0, "digital": 240.0}  # moves by up to 5 % otherwise; as good (measured)
FINER = (1.0, 0.5, 0.25, 0.0833)  # a step that a simulator cannot take is taken in parts
NO_DOUGHS_PCT = (-30.0, 600.0)  # a rise that only too long a step brings about
LONGEST_S = 36.0 * 3600.0
RISEN_PCT = 15.0  # what peaks lower has only given up its first gas
BEYOND = 2.5  # of the recording's length: what comes later than that is not looked for
SETTLED_S = 300.0
SPANS, PROBE_SPANS = 14, 4  # of readings between two checkpoints
FLOOR_MM, FLOOR_C = 0.5, 0.15  # judgement: what averaging cannot remove
GROSS = 4.0  # standard deviations at which a span is none of the dough's
MOVED_SD_MM, DRIFT_SD_MM = 9.0, 3.0  # near to what the catalogue draws
BLIND_MM = 4.0  # a reading this near to the least distance may be it
AROUND_S = 120.0  # around what stands in the way, readings are not looked at
IN_THE_WAY = (TroubleKind.LID, TroubleKind.CONDENSATION, TroubleKind.HAND)
N_EXTRA = 3  # numbers beside the dough's: the probe's offset, the tub's move, the drift
N_WALK = 90  # steps of the stochastic dough's walk that are numbers too: fifteen hours
NORMAL = NormalDist()


class _Listening(random.Random):
    """Draws what its seed draws, and notes each draw as a standard normal number."""

    def __init__(self, seed: str, heard: list[float]) -> None:
        super().__init__()
        self._inner, self._heard = random.Random(seed), heard

    def random(self) -> float:
        drawn = self._inner.random()
        self._heard.append(NORMAL.inv_cdf(min(max(drawn, 1e-9), 1.0 - 1e-9)))
        return drawn

    def gauss(self, mu: float = 0.0, sigma: float = 1.0) -> float:
        self._heard.append(self._inner.gauss(0.0, 1.0))
        return mu + sigma * self._heard[-1]

    def getrandbits(self, k: int, /) -> int:
        return self._inner.getrandbits(k)


class _Given(random.Random):
    """Draws what it is given as standard normal numbers; 0 once they are used up."""

    def __init__(self, numbers: Iterator[float]) -> None:
        super().__init__()
        self._numbers = numbers

    def random(self) -> float:
        return NORMAL.cdf(next(self._numbers, 0.0))

    def gauss(self, mu: float = 0.0, sigma: float = 1.0) -> float:
        return mu + sigma * next(self._numbers, 0.0)

    def getrandbits(self, k: int, /) -> int:
        return 0  # the seed of chance within a dough: its walk is given apart, its bursts are small


@dataclass(frozen=True, slots=True)
class Lived:
    """One simulated dough, arrays of shape (n_times,).

    Attributes
    ----------
    t_s, rise_pct, distance_mm, probe_c
        Since the start; of the settled volume; from the sensor to the middle; where the probe is.
    """

    t_s: Array
    rise_pct: Array
    distance_mm: Array
    probe_c: Array

    def ready_s(self, target_pct: float | None, last_fold_s: float) -> float:
        """When the target is first reached after the last fold; infinity for never, or without a target."""
        if target_pct is None:
            return np.inf
        reached = np.flatnonzero((self.t_s >= last_fold_s) & (self.rise_pct >= target_pct))
        if not reached.size:
            return np.inf
        step = reached[0]
        if step == 0 or self.t_s[step - 1] < last_fold_s:
            return float(self.t_s[step])
        return float(np.interp(target_pct, self.rise_pct[step - 1 : step + 1], self.t_s[step - 1 : step + 1]))

    def peak_s(self, last_fold_s: float) -> float:
        """When it stands highest after the last fold; infinity when it is still rising at the end."""
        after = np.flatnonzero(self.t_s >= last_fold_s)
        step = int(after[np.argmax(self.rise_pct[after])]) if after.size else self.t_s.size - 1
        return np.inf if step == self.t_s.size - 1 else float(self.t_s[step])


class KnownDough:
    """What is known of a recording's dough before any reading, and what follows from the numbers that were drawn.

    Attributes
    ----------
    n_numbers
        How many numbers a dough hangs on, ``N_EXTRA`` at the end included.
    """

    def __init__(self, order: Order) -> None:
        self.order = order
        self.air = air_named(order.room, order.seed)
        self.last_fold_s = max((60.0 * at for at in order.folds_min), default=0.0)
        self._step_s = SIMULATED_STEPS_S.get(KINDS[order.dough].simulator, SIMULATED_STEP_S)
        self.longest_s = min(LONGEST_S, BEYOND * 3600.0 * order.hours)
        self._clung = replace(
            order, troubles=tuple(one for one in order.troubles if one.kind is TroubleKind.CLINGING), noise="clean"
        )
        heard: list[float] = []
        bench_of(self._clung, self.air, generator=lambda seed: _Listening(seed, heard))
        self.n_drawn = len(heard)
        self.n_walk = N_WALK if KINDS[order.dough].simulator == "stochastic" else 0
        self.true_numbers = np.array(heard + [0.0] * (self.n_walk + N_EXTRA))
        self.n_numbers = self.true_numbers.size
        self.is_told = np.array([place < self.n_drawn and self._is_told(place) for place in range(self.n_numbers)])

    def _bench(self, numbers: Array, step_s: float = SIMULATED_STEP_S) -> tuple[Bench, object]:
        given = iter(numbers[: self.n_drawn].tolist())
        bench, recipe = bench_of(self._clung, self.air, step_s=step_s, generator=lambda seed: _Given(given))
        if isinstance(bench.dough, StochasticDough):
            walk = numbers[self.n_drawn : self.n_drawn + self.n_walk]
            bench.dough.wander(_Given(iter(walk.tolist())))
        return bench, recipe

    def is_free(self, now_s: float) -> NDArray[np.bool_]:
        """Which numbers readings up to a moment can tell anything of, shape (n_numbers,)."""
        free = ~self.is_told
        free[self.n_drawn + int(now_s / WALK_EVERY_S) + 2 : self.n_drawn + self.n_walk] = False
        return free

    def _is_told(self, place: int) -> bool:
        """Whether a number is known: it makes the recipe as weighed, or it is a yes or no that a baker sees."""

        def made(value: float) -> tuple[object, ...]:
            numbers = self.true_numbers.copy()
            numbers[place] = value
            bench, recipe = self._bench(numbers)
            return recipe, (getattr(bench.dough, "traits", None), bench.surface.traits, bench.flour_g)

        found = [made(value) for value in np.linspace(-2.4, 2.4, 9)]
        n_ways = sum(all(each != other for other in found[:number]) for number, each in enumerate(found))
        return any(each[0] != found[0][0] for each in found) or n_ways == 2

    def lived(self, numbers: Array) -> Lived:
        """The dough that follows from the numbers, simulated until it has fallen."""
        for finer in FINER:
            try:
                return self._lived(numbers, finer * self._step_s)
            except (ArithmeticError, ValueError, TypeError):  # a root of less than nothing is a complex number
                continue
        raise ValueError(f"a dough of {self.order.dough} cannot be simulated: {numbers}")

    def _lived(self, numbers: Array, step_s: float) -> Lived:
        bench, _ = self._bench(numbers, step_s)
        bench.advance_to(SETTLED_S)
        rows = []
        while bench.dough.now_s < self.longest_s:
            bench.advance_to(bench.dough.now_s + step_s)
            rows.append((bench.dough.now_s, bench.dough.rise_pct or 0.0, bench.distance_mm, bench.dough.probe_c))
            found = bench.outcomes.outcome
            if (found.peak_rise_pct or 0.0) > RISEN_PCT and bench.dough.now_s > 1800.0 + 1.2 * (found.peak_s or 0.0):
                break
        lived = Lived(*np.array(rows).T)
        if not (NO_DOUGHS_PCT[0] < np.min(lived.rise_pct) and np.max(lived.rise_pct) < NO_DOUGHS_PCT[1]):
            raise ArithmeticError("too long a step")
        return lived


@dataclass(frozen=True, slots=True)
class Seen:
    """Readings as spans, shape (n,): when [s], what, one standard deviation; which are the probe's."""

    t_s: Array
    value: Array
    sd: Array
    is_probe: NDArray[np.bool_]


def _spans(series: Series, n: int, floor: float, from_s: float, until_s: float) -> Iterator[tuple[float, float, float]]:
    """Medians of a channel's readings in spans: time, value, standard deviation."""
    if series.t_s.size < 4:
        return
    jumps = np.abs(np.diff(series.value, n=2))
    noise = float(np.median(jumps)) / (0.6745 * np.sqrt(6.0))
    place = np.clip(((series.t_s - from_s) / (until_s - from_s) * n).astype(int), 0, n - 1)
    for span in np.unique(place):
        inside = place == span
        sd = 1.25 * noise / np.sqrt(np.sum(inside))
        yield float(np.median(series.t_s[inside])), float(np.median(series.value[inside])), float(np.hypot(sd, floor))


def _between(series: Series, from_s: float, until_s: float) -> Series:
    inside = (series.t_s > from_s) & (series.t_s <= until_s)
    return Series(series.t_s[inside], series.value[inside], series.sd[inside])


def seen_of(order: Order, recording: Recording, from_s: float, until_s: float) -> Seen:
    """What was read between two moments, without what is known to be no dough's."""

    def without(series: Series, kinds: Sequence[TroubleKind], folds: bool) -> Series:
        clear = series.t_s > SETTLED_S
        for one in order.troubles:
            if one.kind in kinds:
                clear &= (series.t_s < one.start_s - AROUND_S) | (series.t_s > one.end_s + AROUND_S)
            elif one.kind is TroubleKind.BLIND_ZONE and not folds:
                clear &= series.value > one.size + BLIND_MM
        for at_min in order.folds_min:
            clear &= (series.t_s < 60.0 * at_min - AROUND_S) | (series.t_s > 60.0 * at_min + AROUND_S)
        return Series(series.t_s[clear], series.value[clear], series.sd[clear])

    heights = without(_between(recording.track.distance_mm, from_s, until_s), IN_THE_WAY, folds=False)
    probe = without(_between(recording.track.dough_temp_c, from_s, until_s), (TroubleKind.PROBE_OUT,), folds=True)
    rows = [(*span, 0.0) for span in _spans(heights, SPANS, FLOOR_MM, from_s, until_s)]
    rows += [(*span, 1.0) for span in _spans(probe, PROBE_SPANS, FLOOR_C, from_s, until_s)]
    table = np.array(rows, dtype=np.float64).reshape(-1, 4)
    return Seen(table[:, 0], table[:, 1], table[:, 2], table[:, 3] > 0.5)


def shown(order: Order, lived: Lived, extras: Array, seen: Seen) -> Array:
    """What the sensors would show of a dough where something was seen, shape (n,)."""
    probe_offset, moved, drift = extras
    distance_mm = np.interp(seen.t_s, lived.t_s, lived.distance_mm)
    for one in order.troubles:
        if one.kind is TroubleKind.MOVED_TUB:
            distance_mm = distance_mm + MOVED_SD_MM * moved * (seen.t_s > one.start_s)
        elif one.kind is TroubleKind.DRIFT:
            gone = np.clip((seen.t_s - one.start_s) / (one.end_s - one.start_s), 0.0, 1.0)
            distance_mm = distance_mm + DRIFT_SD_MM * drift * gone
    probe_c = np.interp(seen.t_s, lived.t_s, lived.probe_c) + NOISE[order.noise].temp_offset_c * probe_offset
    result: Array = np.where(seen.is_probe, probe_c, distance_mm)
    return result


class Ensemble:
    """Doughs that agree with the readings so far, shape of ``numbers`` (n_members, n_numbers)."""

    def __init__(self, dough: KnownDough, rng: np.random.Generator, n_members: int = N_MEMBERS) -> None:
        self.dough = dough
        self._rng = rng
        self._n_assimilated = 0
        self.numbers = rng.standard_normal((n_members, dough.n_numbers))
        self.numbers[:, dough.is_told] = dough.true_numbers[dough.is_told]
        self._live()

    def _live(self) -> None:
        self.lived = [self.dough.lived(each) for each in self.numbers]

    def _shown(self, seen: Seen) -> Array:
        rows = zip(self.lived, self.numbers[:, -N_EXTRA:], strict=True)
        return np.stack([shown(self.dough.order, lived, extras, seen) for lived, extras in rows])

    def assimilate(self, seen: Seen, now_s: float) -> None:
        """Move the doughs to where they agree with what was seen."""
        if not seen.t_s.size:
            return
        spread = self._shown(seen)
        off = np.abs(seen.value - np.median(spread, axis=0)) / np.hypot(np.std(spread, axis=0), seen.sd)
        kept = off < GROSS
        free = self.dough.is_free(now_s)
        steps = STEPS[self._n_assimilated] if self._n_assimilated < len(STEPS) else 1
        self._n_assimilated += 1
        for _ in range(steps):
            spread = self._shown(seen)[:, kept]
            sd = np.sqrt(steps) * seen.sd[kept]
            numbers = self.numbers[:, free]
            numbers_off, spread_off = numbers - np.mean(numbers, axis=0), spread - np.mean(spread, axis=0)
            both = spread_off.T @ spread_off / (len(spread) - 1) + np.diag(sd**2)
            gain = np.linalg.solve(both, spread_off.T @ numbers_off / (len(spread) - 1))
            missed = seen.value[kept] + sd * self._rng.standard_normal(spread.shape) - spread
            self.numbers[:, free] = numbers + missed @ gain
            self._live()

    def quantiles_s(self, times_s: Array, now_s: float) -> Quantiles:
        """Of times that lie ahead."""
        ahead = times_s[times_s > now_s] if np.any(times_s > now_s) else np.array([now_s])
        found = weighted_quantiles(ahead, np.full(ahead.size, 1.0 / ahead.size), np.array(LEVELS))
        return tuple(float(each) if np.isfinite(each) else None for each in found)

    def said(self, now_s: float) -> Said:
        """What it foretells."""
        fold_s, order = self.dough.last_fold_s, self.dough.order
        ready = np.array([each.ready_s(order.target_rise_pct, fold_s) for each in self.lived])
        peak = np.array([each.peak_s(fold_s) for each in self.lived])
        rise = np.quantile([np.interp(now_s, each.t_s, each.rise_pct) for each in self.lived], (0.05, 0.5, 0.95))
        return Said(
            self.quantiles_s(ready, now_s), self.quantiles_s(peak, now_s), rise_pct=tuple(float(q) for q in rise)
        )


def order_of(folder: Path) -> Order:
    """The order that a recording was made by."""
    about = json.loads((folder / ABOUT_NAME).read_text(encoding="utf-8"))
    return drawn_history(
        about["simulator"], about["seed"], has_formula=about["has_formula"], catalogue=about["catalogue"]
    ).order


def said_by_knowing(folder: Path, recording: Recording, at_s: Sequence[float], *, seed: int = 0) -> list[Said]:
    """What the forecaster that knows the equations says at some moments."""
    order = order_of(folder)
    ensemble = Ensemble(KnownDough(order), np.random.default_rng([seed, zlib.crc32(folder.name.encode())]))
    found: dict[float, Said] = {}
    before_s = 0.0
    for now_s in sorted(set(at_s)):
        ensemble.assimilate(seen_of(order, recording, before_s, now_s), now_s)
        found[now_s], before_s = ensemble.said(now_s), now_s
    return [found[each] for each in at_s]


def by_knowing(folder: Path, recording: Recording, at_s: Sequence[float]) -> list[Said]:
    """The same, kept beside the recording: it takes half a minute."""
    version = hashlib.sha256(Path(__file__).read_bytes()).hexdigest()[:8]
    kept = folder / f"knowing-{version}.json"
    if kept.is_file():
        rows = json.loads(kept.read_text(encoding="utf-8"))
        if rows["at_s"] == list(at_s):
            return [
                Said(*(tuple(row[name]) for name in ("ready_s", "peak_s")), rise_pct=tuple(row["rise_pct"]))
                for row in rows["said"]
            ]
    said = said_by_knowing(folder, recording, at_s)
    kept.write_text(json.dumps({"at_s": list(at_s), "said": [asdict(each) for each in said]}), encoding="utf-8")
    return said
