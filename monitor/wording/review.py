"""How a finished stage is looked back at, in words: the outcome, where its minutes went, what to change next time."""

from collections.abc import Iterable

from monitor.alerts.alert import Alert
from monitor.alerts.kinds import AlertKind
from monitor.dough.causes import Account
from monitor.dough.outlook import Band
from monitor.recipe.batch import Batch
from monitor.recipe.formula import sourdough_pct_instant_equivalent, yeast_pct_instant_equivalent
from monitor.recipe.intent import Verdict
from monitor.translatable import N_
from monitor.wording.phrases import degrees_text, temp_text
from monitor.wording.reader import Reader
from monitor.wording.times import clock_text, duration_text

ON_TIME_MIN = 10.0  # judgement: nobody is nearer to the minute with floury hands
WORTH_MIN = 5.0  # judgement: a cause worth less is not worth a line
WATER_PER_DOUGH = 3.0  # the trade's rule of sums: flour, room and water (see ``recipe.formula.water_temp_c``)
MOST_WATER_C = 12.0  # judgement: from a tap's usual to near ice, or to what yeast bears
_CALLS = (AlertKind.READY, AlertKind.AT_PEAK, AlertKind.PAST_PEAK)


_VERDICTS = {Verdict.UNDER: N_("under"), Verdict.RIGHT: N_("right"), Verdict.OVER: N_("over")}


def verdict_word(verdict: Verdict, reader: Reader) -> str:
    """The baker's verdict in a word."""
    return reader.say(_VERDICTS[verdict])


def past_min(account: Account, batch: Batch) -> float | None:
    """Minutes from what the stage waited for to when it was taken, negative when it was taken before; None: unknown."""
    came = account.peak_min if batch.target.is_peak else account.ready_min
    if came is not None:
        return account.taken_min - came.p50
    expected_min = account.plan_min + sum(
        cause.p50 for cause in (account.warmth_min, account.yeast_min, account.rest_min) if cause is not None
    )
    return account.taken_min - expected_min


def outcome_title(account: Account, batch: Batch, verdict: Verdict | None, reader: Reader) -> str:
    """The outcome in a word and minutes; the baker's verdict, once there is one, has the last word."""
    late_min = past_min(account, batch)
    if late_min is None:
        return ""
    is_off = abs(late_min) > ON_TIME_MIN
    taken = _taken(late_min, reader, is_peak=batch.target.is_peak)
    if verdict is Verdict.RIGHT:
        return reader.say("right, {taken}", taken=taken) if is_off else reader.say("right, and taken on time")
    is_past_peak = account.peak_min is not None and account.taken_min - account.peak_min.p50 > ON_TIME_MIN
    if verdict is Verdict.OVER or (verdict is None and is_past_peak and late_min > ON_TIME_MIN):
        if late_min <= 0.0:
            return reader.say("over-proofed before it was ready")
        return reader.say("over-proofed by {time}", time=duration_text(late_min))
    if verdict is Verdict.UNDER:
        return reader.say("under-proofed, {taken}", taken=taken)
    return taken if is_off else reader.say("taken on time")


def _taken(minutes: float, reader: Reader, *, is_peak: bool) -> str:
    """When it was taken, by what it waited for."""
    time = duration_text(abs(minutes))
    if abs(minutes) <= ON_TIME_MIN:
        if minutes >= 0.0:
            return reader.say(N_("taken at its peak") if is_peak else N_("taken when it was ready"))
        return reader.say(N_("taken just before its peak") if is_peak else N_("taken just before it was ready"))
    if minutes > 0.0:
        return reader.say(
            N_("taken {time} after its peak") if is_peak else N_("taken {time} after it was ready"), time=time
        )
    return reader.say(
        N_("taken {time} before its peak") if is_peak else N_("taken {time} before it was ready"), time=time
    )


def about_minutes(band: Band, reader: Reader) -> str:
    """An amount of minutes with its doubt, without its sign.

    >>> from datetime import UTC
    >>> about_minutes(Band(-41.0, -31.0, -22.0), Reader(UTC))
    'about 31 min (22 to 41)'
    """
    low, high = sorted((abs(band.p05), abs(band.p95)))
    middle = round(abs(band.p50))
    if band.p05 < 0.0 < band.p95:
        return reader.say(
            "about {min} min (between {early} earlier and {late} later)",
            min=middle,
            early=round(-band.p05),
            late=round(band.p95),
        )
    return reader.say("about {min} min ({low} to {high})", min=middle, low=round(low), high=round(high))


def leavening_pct(batch: Batch) -> float | None:
    """Everything that leavens, as instant yeast on the flour. [%]  None when nothing is known of the formula."""
    if batch.formula is None:
        return None
    return yeast_pct_instant_equivalent(batch.formula) + sourdough_pct_instant_equivalent(batch.formula)


def cause_lines(account: Account, batch: Batch, reader: Reader) -> list[tuple[str, Band]]:
    """Each cause by a short name, with its minutes; those worth nothing too, for they say what it was not.

    A ``|`` in a name is where it may be broken into two lines.
    """
    degrees = degrees_text(account.warmer_c, reader)
    warmth = N_("dough|{degrees} warmer") if account.warmer_c > 0.0 else N_("dough|{degrees} colder")
    lines = [(reader.say(warmth, degrees=degrees), account.warmth_min)]
    if account.yeast_min is not None and account.intent.formula is not None and batch.formula is not None:
        made, planned = (
            _percent(yeast_pct_instant_equivalent(formula) + sourdough_pct_instant_equivalent(formula), reader)
            for formula in (batch.formula, account.intent.formula)
        )
        lines.append((reader.say("yeast|{made} % not {planned} %", made=made, planned=planned), account.yeast_min))
    lines.append((reader.say("flour, starter,|all else"), account.rest_min))
    return lines


def causes_sentence(account: Account, batch: Batch, reader: Reader) -> str:
    """What drove it, the greatest first."""
    is_warmer = account.warmer_c > 0.0
    causes = (
        ("warm" if is_warmer else "cold", account.warmth_min),
        ("yeast", account.yeast_min),
        ("dough", account.rest_min),
    )
    found = [(cause, band) for cause, band in causes if band is not None and abs(band.p50) >= WORTH_MIN]
    if not found:
        return reader.say("It took as long as planned.")
    parts = []
    for cause, band in sorted(found, key=lambda each: -abs(each[1].p50)):
        sentence = _FORWARD[cause] if band.p50 < 0.0 else _BACK[cause]
        parts.append(reader.say(sentence, minutes=about_minutes(band, reader)))
    said = "; ".join(parts)
    said = f"{said[0].upper()}{said[1:]}."
    if account.warmer_h >= 0.25 and abs(account.warmth_min.p50) >= WORTH_MIN:
        degrees, time = degrees_text(account.warmer_c, reader), duration_text(60.0 * account.warmer_h)
        said += " " + reader.say(_MEAN_WARMER if is_warmer else _MEAN_COLDER, degrees=degrees, time=time)
    return said


_FORWARD = {
    "warm": N_("warm dough brought it forward by {minutes}"),
    "cold": N_("cold dough brought it forward by {minutes}"),
    "yeast": N_("the yeast brought it forward by {minutes}"),
    "dough": N_("the dough itself (flour, starter, all else) brought it forward by {minutes}"),
}
_BACK = {
    "warm": N_("warm dough held it back by {minutes}"),
    "cold": N_("cold dough held it back by {minutes}"),
    "yeast": N_("the yeast held it back by {minutes}"),
    "dough": N_("the dough itself (flour, starter, all else) held it back by {minutes}"),
}
_MEAN_WARMER = N_("The dough was {degrees} warmer than planned in the mean, clearly so for {time}.")
_MEAN_COLDER = N_("The dough was {degrees} colder than planned in the mean, clearly so for {time}.")


def calls_sentence(account: Account, batch: Batch, alerts: Iterable[Alert], reader: Reader) -> str:
    """What became of the calls of a dough that was taken late; empty when it was taken in time."""
    late_min = past_min(account, batch)
    if late_min is None or late_min <= ON_TIME_MIN:
        return ""
    called = sorted(alert.called_at for alert in alerts if alert.kind in _CALLS and alert.called_at is not None)
    if not called:
        return reader.say("No call went out.")
    # Taking the dough is an answer too, but a late one.
    seen = [
        alert.acknowledged_at
        for alert in alerts
        if alert.kind in _CALLS and alert.acknowledged_at is not None and alert.acknowledged_at != batch.ended_at
    ]
    if seen:
        return reader.say("Its calls were seen at {at}.", at=clock_text(min(seen), reader))
    *first, last = dict.fromkeys(clock_text(at, reader) for at in called)
    times = reader.say("{several} and {last}", several=", ".join(first), last=last) if first else last
    return reader.say("It was called at {times}; nobody answered.", times=times)


def next_time_lines(account: Account, batch: Batch, best_rise_pct: Band | None, reader: Reader) -> list[str]:
    """What to change next time, in the numbers a baker sets."""
    lines = []
    came = account.peak_min if batch.target.is_peak else account.ready_min
    kept_min = account.plan_min + account.rest_min.p50
    strayed = [cause for cause in (account.warmth_min, account.yeast_min) if cause is not None]
    if came is not None and any(abs(cause.p50) >= WORTH_MIN for cause in strayed):
        doubt = Band(account.plan_min + account.rest_min.p05, kept_min, account.plan_min + account.rest_min.p95)
        kept = N_("Kept to what was planned, this dough would have been ready after {time}.")
        lines.append(reader.say(kept, time=_minutes(doubt, reader)))
    is_off = came is not None and abs(came.p50 - account.plan_min) > ON_TIME_MIN
    if is_off and account.wanted_temp_c is not None:
        lines.append(_warmth_line(account, account.wanted_temp_c, reader))
    if is_off and account.wanted_yeast_frac is not None:
        made_pct = leavening_pct(batch) or 0.0
        lines.append(
            reader.say(
                "Or {share} % of its yeast: as instant yeast {new} % of the flour instead of {made} %.",
                share=round(100.0 * account.wanted_yeast_frac),
                new=_percent(made_pct * account.wanted_yeast_frac, reader),
                made=_percent(made_pct, reader),
            )
        )
    if came is not None:
        again = N_("Made the same again: look after {early}, it was ready after {time}.")
        lines.append(reader.say(again, early=duration_text(max(came.p05, 0.0)), time=_minutes(came, reader)))
    if best_rise_pct is not None and batch.target.rise_pct is not None:
        lines.append(
            reader.say(
                "By your verdicts the band belongs at about {best} % (between {low} and {high}); "
                "it stood at {stood} %.",
                best=5 * round(best_rise_pct.p50 / 5),
                low=round(best_rise_pct.p05),
                high=round(best_rise_pct.p95),
                stood=round(batch.target.rise_pct),
            )
        )
    return lines


def _warmth_line(account: Account, wanted_c: float, reader: Reader) -> str:
    change_c = wanted_c - (account.intent.dough_temp_c + account.warmer_c)
    water_c = WATER_PER_DOUGH * change_c
    is_colder = change_c < 0.0
    if abs(water_c) > MOST_WATER_C:
        how = N_("{degrees} colder than it was") if is_colder else N_("{degrees} warmer than it was")
        how = reader.say(how, degrees=degrees_text(change_c, reader))
        how = reader.say("{how}, more than water alone can do", how=how)
    else:
        how = N_("water about {degrees} colder") if is_colder else N_("water about {degrees} warmer")
        how = reader.say(how, degrees=degrees_text(water_c, reader))
        how = reader.say("{how}, and a place as warm as that", how=how)
    dough = temp_text(wanted_c, reader)
    return reader.say(
        "To be ready at the planned hour by warmth alone, dough of {dough} throughout: {how}.", dough=dough, how=how
    )


def _percent(share_pct: float, reader: Reader) -> str:
    """A percentage with two figures that count."""
    return f"{share_pct:.2g}".replace(".", reader.language.decimal)


def _minutes(band: Band, reader: Reader) -> str:
    return reader.say(
        "{middle} (between {early} and {late})",
        middle=duration_text(band.p50),
        early=duration_text(band.p05),
        late=duration_text(band.p95),
    )
