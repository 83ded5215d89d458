"""How a finished stage is looked back at, in words: the outcome, where its minutes went, what to change next time."""

from collections.abc import Iterable

from monitor.bakery.alert_types import Alert, AlertKind
from monitor.bakery.manner import Manner
from monitor.bakery.phrases import clock_text, duration_text, temp_text
from monitor.dough.causes import Account
from monitor.dough.outlook import Band
from monitor.recipe.batch import Batch
from monitor.recipe.formula import sourdough_pct_instant_equivalent, yeast_pct_instant_equivalent
from monitor.recipe.intent import Verdict

ON_TIME_MIN = 10.0  # judgement: nobody is nearer to the minute with floury hands
WORTH_MIN = 5.0  # judgement: a cause worth less is not worth a line
WATER_PER_DOUGH = 3.0  # the trade's rule of sums: flour, room and water (see ``recipe.formula.water_temp_c``)
MOST_WATER_C = 12.0  # judgement: from a tap's usual to near ice, or to what yeast bears
_CALLS = (AlertKind.READY, AlertKind.AT_PEAK, AlertKind.PAST_PEAK)


def past_min(account: Account, batch: Batch) -> float | None:
    """Minutes from what the stage waited for to when it was taken, negative when it was taken before; None: unknown."""
    came = account.peak_min if batch.target.is_peak else account.ready_min
    if came is not None:
        return account.taken_min - came.p50
    expected_min = account.plan_min + sum(
        cause.p50 for cause in (account.warmth_min, account.yeast_min, account.rest_min) if cause is not None
    )
    return account.taken_min - expected_min


def outcome_title(account: Account, batch: Batch, verdict: Verdict | None) -> str:
    """The outcome in a word and minutes; the baker's verdict, once there is one, has the last word."""
    late_min = past_min(account, batch)
    what = "its peak" if batch.target.is_peak else "it was ready"
    if late_min is None:
        return ""
    if verdict is Verdict.RIGHT:
        return f"right, taken {_off(late_min)} {what}" if abs(late_min) > ON_TIME_MIN else "right, and taken on time"
    is_past_peak = account.peak_min is not None and account.taken_min - account.peak_min.p50 > ON_TIME_MIN
    if verdict is Verdict.OVER or (verdict is None and is_past_peak and late_min > ON_TIME_MIN):
        return f"over-proofed by {duration_text(late_min)}" if late_min > 0.0 else "over-proofed before it was ready"
    if verdict is Verdict.UNDER:
        return f"under-proofed, taken {_off(late_min)} {what}"
    return f"taken {_off(late_min)} {what}" if abs(late_min) > ON_TIME_MIN else "taken on time"


def _off(minutes: float) -> str:
    if abs(minutes) <= ON_TIME_MIN:
        return "when" if minutes >= 0 else "just before"
    return f"{duration_text(abs(minutes))} {'after' if minutes > 0 else 'before'}"


def about_minutes(band: Band) -> str:
    """An amount of minutes with its doubt, without its sign.

    >>> about_minutes(Band(-41.0, -31.0, -22.0))
    'about 31 min (22 to 41)'
    """
    low, high = sorted((abs(band.p05), abs(band.p95)))
    if band.p05 < 0.0 < band.p95:
        return f"about {abs(band.p50):.0f} min (between {-band.p05:.0f} earlier and {band.p95:.0f} later)"
    return f"about {abs(band.p50):.0f} min ({low:.0f} to {high:.0f})"


def leavening_pct(batch: Batch) -> float | None:
    """Everything that leavens, as instant yeast on the flour. [%]  None when nothing is known of the formula."""
    if batch.formula is None:
        return None
    return yeast_pct_instant_equivalent(batch.formula) + sourdough_pct_instant_equivalent(batch.formula)


def degrees_text(difference_c: float, manner: Manner) -> str:
    """A difference of temperatures, without its sign.

    >>> from datetime import UTC
    >>> degrees_text(-2.1, Manner(UTC)), degrees_text(2.0, Manner(UTC, "F"))
    ('2.1 °C', '3.6 °F')
    """
    size = abs(difference_c)
    return f"{size * 1.8:.1f} °F" if manner.temp_unit == "F" else f"{size:.1f} °C"


def cause_lines(account: Account, batch: Batch, manner: Manner) -> list[tuple[str, Band]]:
    """Each cause by a short name, with its minutes; those worth nothing too, for they say what it was not.

    A ``|`` in a name is where it may be broken into two lines.
    """
    side = "warmer" if account.warmer_c > 0.0 else "colder"
    lines = [(f"dough|{degrees_text(account.warmer_c, manner)} {side}", account.warmth_min)]
    if account.yeast_min is not None and account.intent.formula is not None and batch.formula is not None:
        made, planned = (
            yeast_pct_instant_equivalent(formula) + sourdough_pct_instant_equivalent(formula)
            for formula in (batch.formula, account.intent.formula)
        )
        lines.append((f"yeast|{made:.2g} % not {planned:.2g} %", account.yeast_min))
    lines.append(("flour, starter,|all else", account.rest_min))
    return lines


def causes_sentence(account: Account, batch: Batch, manner: Manner) -> str:
    """What drove it, the greatest first."""
    named = {0: "warm dough" if account.warmer_c > 0.0 else "cold dough"}
    bands = [account.warmth_min, account.yeast_min, account.rest_min]
    names = [named[0], "the yeast", "the dough itself (flour, starter, all else)"]
    found = [
        (band, name) for band, name in zip(bands, names, strict=True) if band is not None and abs(band.p50) >= WORTH_MIN
    ]
    if not found:
        return "It took as long as planned."
    parts = []
    for band, name in sorted(found, key=lambda each: -abs(each[0].p50)):
        way = "brought it forward" if band.p50 < 0.0 else "held it back"
        parts.append(f"{name} {way} by {about_minutes(band)}")
    said = "; ".join(parts)
    if account.warmer_h >= 0.25 and abs(account.warmth_min.p50) >= WORTH_MIN:
        side = "warmer" if account.warmer_c > 0.0 else "colder"
        said += (
            f". The dough was {degrees_text(account.warmer_c, manner)} {side} than planned in the mean, "
            f"clearly so for {duration_text(60.0 * account.warmer_h)}"
        )
    return said[0].upper() + said[1:] + "."


def calls_sentence(account: Account, batch: Batch, alerts: Iterable[Alert], manner: Manner) -> str:
    """What became of the calls of a dough that was taken late; empty when it was taken in time."""
    late_min = past_min(account, batch)
    if late_min is None or late_min <= ON_TIME_MIN:
        return ""
    called = sorted(alert.called_at for alert in alerts if alert.kind in _CALLS and alert.called_at is not None)
    if not called:
        return "No call went out."
    # Taking the dough is an answer too, but a late one.
    seen = [
        alert.acknowledged_at
        for alert in alerts
        if alert.kind in _CALLS and alert.acknowledged_at is not None and alert.acknowledged_at != batch.ended_at
    ]
    if seen:
        return f"Its calls were acknowledged at {clock_text(min(seen), manner)}."
    times = " and ".join(dict.fromkeys(clock_text(at, manner) for at in called))
    return f"It was called at {times}; nobody answered."


def next_time_lines(account: Account, batch: Batch, best_rise_pct: Band | None, manner: Manner) -> list[str]:
    """What to change next time, in the numbers a baker sets."""
    lines = []
    came = account.peak_min if batch.target.is_peak else account.ready_min
    kept_min = account.plan_min + account.rest_min.p50
    strayed = [cause for cause in (account.warmth_min, account.yeast_min) if cause is not None]
    if came is not None and any(abs(cause.p50) >= WORTH_MIN for cause in strayed):
        doubt = Band(account.plan_min + account.rest_min.p05, kept_min, account.plan_min + account.rest_min.p95)
        lines.append(f"Kept to what was planned, this dough would have been ready after {_minutes(doubt)}.")
    is_off = came is not None and abs(came.p50 - account.plan_min) > ON_TIME_MIN
    if is_off and account.wanted_temp_c is not None:
        lines.append(_warmth_line(account, account.wanted_temp_c, manner))
    if is_off and account.wanted_yeast_frac is not None:
        made_pct = leavening_pct(batch) or 0.0
        of_it = f"{100.0 * account.wanted_yeast_frac:.0f} % of its yeast"
        new_pct = made_pct * account.wanted_yeast_frac
        lines.append(f"Or {of_it}: as instant yeast {new_pct:.2g} % of the flour instead of {made_pct:.2g} %.")
    if came is not None:
        early = max(came.p05, 0.0)
        lines.append(f"Made the same again: look after {duration_text(early)}, it was ready after {_minutes(came)}.")
    if best_rise_pct is not None and batch.target.rise_pct is not None:
        lines.append(
            f"By your verdicts the band belongs at about {5 * round(best_rise_pct.p50 / 5):.0f} % "
            f"(between {best_rise_pct.p05:.0f} and {best_rise_pct.p95:.0f}); it stood at {batch.target.rise_pct:.0f} %."
        )
    return lines


def _warmth_line(account: Account, wanted_c: float, manner: Manner) -> str:
    change_c = wanted_c - (account.intent.dough_temp_c + account.warmer_c)
    water_c = WATER_PER_DOUGH * change_c
    way = "colder" if change_c < 0.0 else "warmer"
    how = f"water about {degrees_text(water_c, manner)} {way}, and a place as warm as that"
    if abs(water_c) > MOST_WATER_C:
        how = f"{degrees_text(change_c, manner)} {way} than it was, more than water alone can do"
    return f"To be ready at the planned hour by warmth alone, dough of {temp_text(wanted_c, manner)} throughout: {how}."


def _minutes(band: Band) -> str:
    return f"{duration_text(band.p50)} (between {duration_text(band.p05)} and {duration_text(band.p95)})"
