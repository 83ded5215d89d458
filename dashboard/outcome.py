"""How an ended batch went: when it was ready, peaked and ended, and how its words put it. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from monitor.bakery.wording import clock_text, duration_text
from monitor.dough.outlook import Outlook
from monitor.recipe.batch import Batch


@dataclass(frozen=True, slots=True)
class Outcome:
    """Moments of an ended batch; None when it had not come by the end, or is not known."""

    ready_at: datetime | None
    peak_at: datetime | None
    ended_at: datetime | None


def outcome_of(batch: Batch, newest: Outlook | None) -> Outcome:
    """What the last estimate says of the moments that had passed by then."""
    ended_at = batch.ended_at

    def passed(at: datetime | None) -> datetime | None:
        return at if at is not None and ended_at is not None and at <= ended_at else None

    if newest is None:
        return Outcome(None, None, ended_at)
    return Outcome(passed(newest.ready.p50), passed(newest.peak.p50), ended_at)


def outcome_words(outcome: Outcome, zone: tzinfo) -> str:
    """The outcome as a colleague would say it."""
    parts = []
    if outcome.ready_at is None:
        parts.append("ended before it was ready")
    else:
        parts.append(f"was ready {clock_text(outcome.ready_at, zone)}")
    if outcome.peak_at is not None and outcome.peak_at != outcome.ready_at:
        parts.append(f"peaked {clock_text(outcome.peak_at, zone)}")
    if outcome.ended_at is not None:
        after = ""
        if outcome.ready_at is not None:
            after = (
                f", {duration_text((outcome.ended_at - outcome.ready_at).total_seconds() / 60.0)} after it was ready"
            )
        parts.append(f"ended {clock_text(outcome.ended_at, zone)}{after}")
    return "; ".join(parts)


def half_way(outlooks: Sequence[Outlook], target_pct: float | None) -> int:
    """Place of the first outlook at half the target's rise; for a peak, at half the greatest rise."""
    rises = [0.0 if outlook.rise_pct is None else outlook.rise_pct.p50 for outlook in outlooks]
    wanted = (max(rises) if target_pct is None else target_pct) / 2.0
    return next((place for place, rise in enumerate(rises) if rise >= wanted), len(rises) - 1)
