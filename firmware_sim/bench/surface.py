"""The top of a dough in its tub: a dome while it rises, flat at its peak, a hollow once it falls, a ball at first.

The wall holds the edge back while the middle swells, so a sensor over the middle reads too high on the way up and, as
the dome flattens, too early a peak. The top is taken as a paraboloid: the mean level lies half a dome below the middle,
and the edge half a dome below that. A dough that lies as a ball at first is the same paraboloid, so steep that it ends
before the wall. No measured figures were found: all sizes are judgement, from the balance of drag and weight.
"""

import random
from dataclasses import dataclass
from itertools import pairwise
from math import exp, sqrt, tanh

# Least and greatest dome in the middle of the rise against the tub's inner width, by water [% of all flour].
DOME_BY_WATER = ((55.0, 0.08, 0.20), (62.5, 0.05, 0.12), (75.0, 0.02, 0.06), (100.0, 0.0, 0.03))
DOME_OF_RYE = (0.0, 0.03)
BRAN_WATER_PCT = 8.0  # wholemeal binds so much more before it is as soft
HOLLOW = (0.02, 0.08)  # how deep the middle sinks below the edge after the fall
UNSTEADY_S = 240.0  # squeezed bubbles swell back first; that is no rise
FORGET_S = 7200.0  # the pace that counts as quick follows the dough into the cold and out of it
LOOK_S = 30.0
BALL = {"first rise": (0.3, 0.72, 0.97), "final proof": (0.6, 0.60, 0.95)}  # chance; share of the width it covers
BALL_ASPECT = 0.6  # greatest height over width of a ball under its own weight
STIFF_PCT = 60.0  # a preferment below this is put in as a ball too


@dataclass(frozen=True, slots=True)
class SurfaceTraits:
    """What the top of one dough does.

    Attributes
    ----------
    dome_frac, hollow_frac
        Full dome, middle less edge, and deepest hollow, against the inner width.
    sharpness
        How long the dome stands as the rise slows: half of it is gone near 0.5/sharpness of the quickest pace.
    ease_s
        Time constant of the top's own movement. [s]
    ball_frac
        Share of the width that the dough covers at the start; 1: it fills the tub.
    slump_s
        Time constant of the ball's spreading. [s]
    """

    dome_frac: float
    hollow_frac: float = 0.04
    sharpness: float = 1.6
    ease_s: float = 240.0
    ball_frac: float = 1.0
    slump_s: float = 1500.0


def dome_range(water_pct: float, kind: str) -> tuple[float, float]:
    """Least and greatest full dome against the tub's width; ``water_pct`` is of all flour. [-]"""
    if kind == "rye":
        return DOME_OF_RYE
    water_pct -= BRAN_WATER_PCT if kind == "whole grain" else 0.0
    if water_pct <= DOME_BY_WATER[0][0]:
        return DOME_BY_WATER[0][1:]
    for (below, least, most), (above, next_least, next_most) in pairwise(DOME_BY_WATER):
        if water_pct <= above:
            part = (water_pct - below) / (above - below)
            return least + part * (next_least - least), most + part * (next_most - most)
    return DOME_BY_WATER[-1][1:]


def surface_traits(
    water_pct: float, kind: str, stage: str, rng: random.Random, *, spread: float = 1.0
) -> SurfaceTraits:
    """The top of one dough, drawn at random; ``spread`` 0 gives the typical one, which fills its tub."""

    def between(least: float, most: float) -> float:
        return 0.5 * (least + most) + spread * (most - least) * (rng.random() - 0.5)

    least, most = dome_range(water_pct, kind)
    chance, narrow, wide = BALL.get(stage, (0.6, 0.70, 0.95) if water_pct < STIFF_PCT else (0.0, 1.0, 1.0))
    is_ball = rng.random() < chance * spread
    covered = between(narrow, wide)
    return SurfaceTraits(
        dome_frac=between(least, most),
        hollow_frac=between(*HOLLOW),
        sharpness=between(1.0, 2.4),
        ease_s=between(120.0, 420.0),
        ball_frac=covered if is_ball else 1.0,
        slump_s=between(1200.0, 4800.0) * (0.4 if water_pct > 70.0 else 1.0),
    )


class Surface:
    """The top of one dough, followed through its rise.

    Parameters
    ----------
    cling_mm
        How far the edge lags behind before it lets go of the wall with a jerk; 0 when it slides. [mm]
    folds_s
        When the dough is folded: a ball again, and its dome begins anew. [s]
    """

    def __init__(self, traits: SurfaceTraits, *, cling_mm: float = 0.0, folds_s: tuple[float, ...] = ()) -> None:
        self.traits = traits
        self._cling_mm = cling_mm
        self._folds_s = sorted(folds_s)
        self._seen: tuple[float, float] | None = None
        self._first_mm = 0.0
        self._highest_mm = 0.0
        self._fastest = 0.0
        self._pull = 0.0  # 1: fully domed, -1: fully sunken
        self._ball_mm = 0.0
        self._ball_at_s = 0.0
        self._stuck_mm: float | None = None
        self.dome_mm = 0.0

    def _begin(self, at_s: float, mean_mm: float, width_mm: float, ball_frac: float) -> None:
        """From here on the top begins anew."""
        self._first_mm = self._highest_mm = mean_mm
        self._fastest, self._pull, self._stuck_mm = 0.0, 0.0, None
        # No ball is higher than its width allows: so much dough that it must touch the wall lies level.
        ball_frac = max(ball_frac, (mean_mm / (BALL_ASPECT * 0.5 * width_mm)) ** (1.0 / 3.0))
        self._ball_mm = 2.0 * mean_mm / ball_frac**4 if ball_frac < 1.0 else 0.0
        self._ball_at_s = at_s
        self._seen = (at_s, mean_mm)

    def look(self, at_s: float, mean_mm: float, width_mm: float) -> None:
        """Follow the dough: its mean level and the inner width there, at a time that does not run backwards. [mm]"""
        traits = self.traits
        if self._seen is None:
            self._begin(at_s, mean_mm, width_mm, traits.ball_frac)
        if self._folds_s and at_s >= self._folds_s[0]:
            self._folds_s.pop(0)
            self._begin(at_s, mean_mm, width_mm, max(traits.ball_frac, 0.85))
        assert self._seen is not None
        past_s = at_s - self._seen[0]
        if past_s < LOOK_S and at_s > self._seen[0]:
            return
        if at_s - self._ball_at_s < UNSTEADY_S:
            self._first_mm = mean_mm
        elif past_s > 0.0:
            self._move(past_s, mean_mm)
        self._seen = (at_s, mean_mm)
        self._highest_mm = max(mean_mm, self._highest_mm)
        risen, fallen = max(0.0, mean_mm / self._first_mm - 1.0), 1.0 - mean_mm / self._highest_mm
        grown, sunk = 1.15 * (1.0 - exp(-2.5 * risen)), 1.0 - exp(-fallen / 0.04)
        size = traits.dome_frac * grown if self._pull > 0.0 else traits.hollow_frac * sunk
        # A ball sinks under its own weight, and what it gains presses it against the wall.
        left = exp(-(at_s - self._ball_at_s) / traits.slump_s - 3.0 * risen)
        self.dome_mm = self._held(mean_mm, width_mm * size * self._pull + self._ball_mm * left)

    def _move(self, past_s: float, mean_mm: float) -> None:
        """Drag at the wall against the weight: full at a good pace, none at rest, the other way round in the fall."""
        assert self._seen is not None
        pace = (mean_mm - self._seen[1]) / past_s
        self._fastest = max(pace, self._fastest * exp(-past_s / FORGET_S))
        if self._fastest <= 0.0:
            return
        sharpness = self.traits.sharpness
        wanted = tanh(sharpness * max(-1.0, pace / self._fastest)) / tanh(sharpness)
        if self._pull <= 0.0 and pace <= 0.0 and wanted > self._pull:
            return  # what has sunk in does not come up by itself
        self._pull += (wanted - self._pull) * (1.0 - exp(-past_s / self.traits.ease_s))

    def _held(self, mean_mm: float, dome_mm: float) -> float:
        """The dome with an edge that sticks to the wall until it is pulled too hard."""
        if not self._cling_mm or dome_mm > mean_mm:  # a ball touches no wall
            return dome_mm
        edge_mm = mean_mm - 0.5 * dome_mm
        if self._stuck_mm is None or abs(edge_mm - self._stuck_mm) > self._cling_mm:
            self._stuck_mm = edge_mm
        return 2.0 * (mean_mm - self._stuck_mm)

    def centre_mm(self, mean_mm: float) -> float:
        """Height of the middle over the base when the mean level stands at ``mean_mm``. [mm]"""
        dome_mm = self.dome_mm
        return mean_mm + 0.5 * dome_mm if dome_mm <= 2.0 * mean_mm else sqrt(2.0 * dome_mm * mean_mm)

    def edge_mm(self, mean_mm: float) -> float | None:
        """Height of the edge at the wall; None as long as the dough does not touch it. [mm]"""
        return mean_mm - 0.5 * self.dome_mm if self.dome_mm <= 2.0 * mean_mm else None
