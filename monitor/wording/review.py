"""How a finished stage is looked back at, in words: the outcome, where its minutes went, what to change next time."""

from collections.abc import Iterable
from typing import assert_never

from monitor.alerts.alert import Alert
from monitor.alerts.kinds import AlertKind
from monitor.dough.causes import Account
from monitor.dough.gassing import leavening_pct
from monitor.dough.outcome import (
    ON_TIME_MIN,
    WORTH_MIN,
    Advice,
    ChangeTemperature,
    ChangeYeast,
    Driver,
    KeepToPlan,
    MakeAgain,
    MoveTarget,
    StageOutcome,
    Timing,
    advice,
    drivers,
    late_min,
    outcome_of,
)
from monitor.dough.outlook import Band
from monitor.recipe.batch import Batch
from monitor.recipe.intent import Verdict
from monitor.translatable import N_
from monitor.wording.phrases import degrees_text, temp_text
from monitor.wording.reader import Reader
from monitor.wording.times import clock_text, duration_text

_CALLS = (AlertKind.READY, AlertKind.AT_PEAK, AlertKind.PAST_PEAK)


def verdict_word(verdict: Verdict, reader: Reader) -> str:
    """The baker's verdict in a word."""
    match verdict:
        case Verdict.UNDER:
            return reader.say("under")
        case Verdict.RIGHT:
            return reader.say("right")
        case Verdict.OVER:
            return reader.say("over")
        case _:
            assert_never(verdict)


def outcome_title(account: Account, batch: Batch, verdict: Verdict | None, reader: Reader) -> str:
    """The outcome in a word and minutes; the baker's verdict, once there is one, has the last word."""
    outcome = outcome_of(account, batch, verdict)
    taken = _taken(outcome, reader, is_peak=batch.target.is_peak)
    match outcome.proof:
        case Verdict.RIGHT:
            if not outcome.is_off:
                return reader.say("right, and taken on time")
            return reader.say("right, {taken}", taken=taken)
        case Verdict.OVER if outcome.late_min <= 0.0:
            return reader.say("over-proofed before it was ready")
        case Verdict.OVER:
            return reader.say("over-proofed by {time}", time=duration_text(outcome.late_min))
        case Verdict.UNDER:
            return reader.say("under-proofed, {taken}", taken=taken)
        case None:
            return taken if outcome.is_off else reader.say("taken on time")
        case _:
            assert_never(outcome.proof)


def _taken(outcome: StageOutcome, reader: Reader, *, is_peak: bool) -> str:
    """When it was taken, by what it waited for."""
    time = duration_text(abs(outcome.late_min))
    match outcome.timing:
        case Timing.ON_TIME:
            return reader.say(N_("taken at its peak") if is_peak else N_("taken when it was ready"))
        case Timing.JUST_BEFORE:
            return reader.say(N_("taken just before its peak") if is_peak else N_("taken just before it was ready"))
        case Timing.LATE:
            after = N_("taken {time} after its peak") if is_peak else N_("taken {time} after it was ready")
            return reader.say(after, time=time)
        case Timing.EARLY:
            before = N_("taken {time} before its peak") if is_peak else N_("taken {time} before it was ready")
            return reader.say(before, time=time)
        case _:
            assert_never(outcome.timing)


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


def cause_lines(account: Account, batch: Batch, reader: Reader) -> list[tuple[str, Band]]:
    """Each cause by a short name, with its minutes; those worth nothing too, for they say what it was not.

    A ``|`` in a name is where it may be broken into two lines.
    """
    degrees = degrees_text(account.warmer_c, reader)
    warmth = N_("dough|{degrees} warmer") if account.warmer_c > 0.0 else N_("dough|{degrees} colder")
    lines = [(reader.say(warmth, degrees=degrees), account.warmth_min)]
    made_pct, planned_pct = leavening_pct(batch.formula), leavening_pct(account.intent.formula)
    if account.yeast_min is not None and made_pct is not None and planned_pct is not None:
        made, planned = _percent(made_pct, reader), _percent(planned_pct, reader)
        lines.append((reader.say("yeast|{made} % not {planned} %", made=made, planned=planned), account.yeast_min))
    lines.append((reader.say("flour, starter,|all else"), account.rest_min))
    return lines


def causes_sentence(account: Account, reader: Reader) -> str:
    """What drove it, the greatest first."""
    found = drivers(account)
    if not found:
        return reader.say("It took as long as planned.")
    sentence = "; ".join(_driver_clause(driver, band, reader) for driver, band in found)
    sentence = f"{sentence[0].upper()}{sentence[1:]}."
    if account.warmer_h >= 0.25 and abs(account.warmth_min.p50) >= WORTH_MIN:
        if account.warmer_c > 0.0:
            mean = N_("The dough was {degrees} warmer than planned in the mean, clearly so for {time}.")
        else:
            mean = N_("The dough was {degrees} colder than planned in the mean, clearly so for {time}.")
        time = duration_text(60.0 * account.warmer_h)
        sentence += " " + reader.say(mean, degrees=degrees_text(account.warmer_c, reader), time=time)
    return sentence


def _driver_clause(driver: Driver, worth: Band, reader: Reader) -> str:
    is_forward = worth.p50 < 0.0
    match driver:
        case Driver.WARM_DOUGH:
            sentence = (
                N_("warm dough brought it forward by {minutes}")
                if is_forward
                else N_("warm dough held it back by {minutes}")
            )
        case Driver.COLD_DOUGH:
            sentence = (
                N_("cold dough brought it forward by {minutes}")
                if is_forward
                else N_("cold dough held it back by {minutes}")
            )
        case Driver.YEAST:
            sentence = (
                N_("the yeast brought it forward by {minutes}")
                if is_forward
                else N_("the yeast held it back by {minutes}")
            )
        case Driver.DOUGH:
            sentence = (
                N_("the dough itself (flour, starter, all else) brought it forward by {minutes}")
                if is_forward
                else N_("the dough itself (flour, starter, all else) held it back by {minutes}")
            )
        case _:
            assert_never(driver)
    return reader.say(sentence, minutes=about_minutes(worth, reader))


def calls_sentence(account: Account, batch: Batch, alerts: Iterable[Alert], reader: Reader) -> str:
    """What became of the calls of a dough that was taken late; empty when it was taken in time."""
    if late_min(account, batch) <= ON_TIME_MIN:
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
        return reader.say("Its calls were acknowledged at {at}.", at=clock_text(min(seen), reader))
    *first, last = dict.fromkeys(clock_text(at, reader) for at in called)
    times = reader.say("{several} and {last}", several=", ".join(first), last=last) if first else last
    return reader.say("It was called at {times}; nobody answered.", times=times)


def next_time_lines(account: Account, batch: Batch, best_rise_pct: Band | None, reader: Reader) -> list[str]:
    """What to change next time, in the numbers a baker sets."""
    return [advice_sentence(each, reader) for each in advice(account, batch, best_rise_pct)]


def advice_sentence(given: Advice, reader: Reader) -> str:
    """One piece of advice."""
    match given:
        case KeepToPlan(ready_min):
            kept = N_("Kept to what was planned, this dough would have been ready after {time}.")
            return reader.say(kept, time=_minutes(ready_min, reader))
        case ChangeTemperature():
            return _temperature_sentence(given, reader)
        case ChangeYeast():
            return reader.say(
                "Or {share} % of its yeast: as instant yeast {new} % of the flour instead of {made} %.",
                share=round(100.0 * given.frac),
                new=_percent(given.wanted_pct, reader),
                made=_percent(given.made_pct, reader),
            )
        case MakeAgain(ready_min):
            again = N_("Made the same again: look after {early}, it was ready after {time}.")
            early = duration_text(max(ready_min.p05, 0.0))
            return reader.say(again, early=early, time=_minutes(ready_min, reader))
        case MoveTarget(best_pct, stood_pct):
            return reader.say(
                "By your verdicts the band belongs at about {best} % (between {low} and {high}); "
                "it stood at {stood} %.",
                best=5 * round(best_pct.p50 / 5),
                low=round(best_pct.p05),
                high=round(best_pct.p95),
                stood=round(stood_pct),
            )
        case _:
            assert_never(given)


def _temperature_sentence(given: ChangeTemperature, reader: Reader) -> str:
    is_colder = given.change_c < 0.0
    if given.is_water_enough:
        how = N_("water about {degrees} colder") if is_colder else N_("water about {degrees} warmer")
        how = reader.say(how, degrees=degrees_text(given.water_change_c, reader))
        how = reader.say("{how}, and a place as warm as that", how=how)
    else:
        how = N_("{degrees} colder than it was") if is_colder else N_("{degrees} warmer than it was")
        how = reader.say(how, degrees=degrees_text(given.change_c, reader))
        how = reader.say("{how}, more than water alone can do", how=how)
    dough = temp_text(given.dough_temp_c, reader)
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
