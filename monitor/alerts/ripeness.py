"""For how long a dough that is used at its peak is ripe."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from monitor.dough.outlook import Outlook
from monitor.recipe.batch import Batch

RIPE_SHARE = 0.12
"""Of the time from the start to the peak, to either side of it. Judgement: simulated starters and preferments of four
makes stand within 5 % of their greatest volume for 8 to 20 % of that time after the peak, and for 8 to 14 % before."""

LEAST_RIPE_MIN = 15.0  # judgement


@dataclass(frozen=True, slots=True)
class Window:
    """From when to when."""

    opens_at: datetime
    closes_at: datetime


def ripe_window(batch: Batch, outlook: Outlook, least_min: float = LEAST_RIPE_MIN) -> Window | None:
    """When a starter or preferment is ripe, by the middle estimate of its peak; None where none is foretold.

    Parameters
    ----------
    least_min
        So long to either side of the peak at the least. [min]
    """
    peak_at = outlook.peak.p50
    if not batch.target.is_peak or peak_at is None:
        return None
    half = max(RIPE_SHARE * (peak_at - batch.started_at), timedelta(minutes=least_min))
    return Window(peak_at - half, peak_at + half)
