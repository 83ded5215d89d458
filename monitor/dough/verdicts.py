"""What a baker's verdicts teach: the rise at which a dough of this recipe is right, between too early and too late."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import erf, log, sqrt

import numpy as np

from monitor.dough.outlook import Band
from monitor.recipe.intent import Verdict

# In ln of the volume over the start volume. All judgement.
ASKED_SD = 0.25  # how far off the rise a baker asks for may be: 75 % may be 36 to 125 %, nine times in ten
VERDICT_SD = 0.10  # two cuts of one dough, two verdicts: crumb depends on shaping and oven too
RIGHT_WITHIN = 0.08  # a dough this near is still called right
GRID = np.linspace(log(1.05), log(8.0), 800)


@dataclass(frozen=True, slots=True)
class RiseVerdict:
    """One dough that was judged: how far it had risen at the most when it was taken [%], and what the baker said."""

    rise_pct: float
    verdict: Verdict


def _share_below(x: float) -> float:
    return 0.5 * (1.0 + erf(x / sqrt(2.0)))


def best_rise_pct(tasted: Sequence[RiseVerdict], asked_pct: float) -> Band:
    """The rise at which a dough of this recipe would be called right, with its doubt. [%]

    Parameters
    ----------
    asked_pct
        What the baker has aimed at, believed until verdicts say otherwise. [%]

    Examples
    --------
    Aimed at 100 %, twice called over:

    >>> over = [RiseVerdict(100.0, Verdict.OVER), RiseVerdict(95.0, Verdict.OVER)]
    >>> best_rise_pct(over, 100.0).p50 < 75.0
    True
    """
    chance = np.exp(-0.5 * ((GRID - log(1.0 + asked_pct / 100.0)) / ASKED_SD) ** 2)
    for each in tasted:
        taken = log(max(1.0 + each.rise_pct / 100.0, 0.1))
        under = np.array([_share_below((best - RIGHT_WITHIN - taken) / VERDICT_SD) for best in GRID])
        over = np.array([_share_below((taken - best - RIGHT_WITHIN) / VERDICT_SD) for best in GRID])
        said = {Verdict.UNDER: under, Verdict.OVER: over, Verdict.RIGHT: 1.0 - under - over}
        chance = chance * np.maximum(said[each.verdict], 1e-6)
    grown = np.cumsum(chance) / np.sum(chance)
    low, middle, high = (100.0 * float(np.expm1(np.interp(share, grown, GRID))) for share in (0.05, 0.50, 0.95))
    return Band(low, middle, high)
