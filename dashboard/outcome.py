"""How an ended batch went: when it was ready, peaked and ended, and how its words put it. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from monitor.dough.outlook import Outlook
from monitor.recipe.batch import Batch
from monitor.translatable import N_
from monitor.wording.alerts import clock_text, duration_text
from monitor.wording.reader import Reader


@dataclass(frozen=True, slots=True)
class Outcome:
    """How an ended batch went.

    Attributes
    ----------
    ready_at, peak_at
        When it was ready and at its peak; None when that had not come by the end.
    expected_at
        When it had been expected to be ready, where it was not; None when that is not known.
    is_peak
        True when the stage waited for the peak.
    """

    ended_at: datetime
    ready_at: datetime | None = None
    peak_at: datetime | None = None
    expected_at: datetime | None = None
    is_peak: bool = False


def outcome_of(batch: Batch, newest: Outlook | None) -> Outcome:
    """What the last estimate says of the moments that had passed by the end of a batch."""
    ended_at = batch.ended_at
    if ended_at is None:
        raise ValueError(f"batch {batch.id} has not ended: its outcome is still to come")
    if newest is None:
        return Outcome(ended_at, is_peak=batch.target.is_peak)
    ready_at, peak_at = newest.ready.p50, newest.peak.p50
    is_ready = ready_at is not None and ready_at <= ended_at
    return Outcome(
        ended_at,
        ready_at=ready_at if is_ready else None,
        peak_at=peak_at if peak_at is not None and peak_at <= ended_at else None,
        expected_at=None if is_ready else ready_at,
        is_peak=batch.target.is_peak,
    )


def outcome_words(outcome: Outcome, reader: Reader) -> str:
    """The outcome as a colleague would say it."""
    ended_at, is_peak = outcome.ended_at, outcome.is_peak
    ended = clock_text(ended_at, reader)
    if outcome.ready_at is None:
        text = reader.say(
            N_("ended {at}, before its peak") if is_peak else N_("ended {at}, before it was ready"), at=ended
        )
        if outcome.expected_at is None:
            return text
        expected = clock_text(outcome.expected_at, reader, ended_at)
        return reader.say("{ended}, expected {at}", ended=text, at=expected)
    parts = []
    if not is_peak:
        parts.append(reader.say("was ready {at}", at=clock_text(outcome.ready_at, reader, ended_at)))
    if outcome.peak_at is not None:
        parts.append(reader.say("peaked {at}", at=clock_text(outcome.peak_at, reader, ended_at)))
    after = N_("ended {at}, {time} after its peak") if is_peak else N_("ended {at}, {time} after it was ready")
    waited = duration_text((ended_at - outcome.ready_at).total_seconds() / 60.0)
    parts.append(reader.say(after, at=ended, time=waited))
    return "; ".join(parts)


def half_way(outlooks: Sequence[Outlook], target_pct: float | None) -> int:
    """Place of the first outlook at half the target's rise; for a peak, at half the greatest rise."""
    rises = [0.0 if outlook.rise_pct is None else outlook.rise_pct.p50 for outlook in outlooks]
    wanted = (max(rises) if target_pct is None else target_pct) / 2.0
    return next((place for place, rise in enumerate(rises) if rise >= wanted), len(rises) - 1)
