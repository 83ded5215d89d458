"""The life of one alert, step by step: what it says of itself, and what its history says."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from monitor.alerts.alert import Alert, AlertUpdate, Change, Phase, Subject
from monitor.alerts.conditions import NOTHING, Condition
from monitor.alerts.kinds import AlertKind
from monitor.alerts.lifecycle import Episodes
from monitor.alerts.reasons import BatchEnded, CameToNothing, MoreJoined, PlainText
from monitor.recipe.batch import BatchId

START = datetime(2026, 3, 2, 5, 0, tzinfo=UTC)
ABOUT = Subject.batch(BatchId(7))
KIND = AlertKind.AIR_TOO_WARM


def plain(text: str) -> PlainText:
    return PlainText(text, "en")


BEGINS = Condition(begins=True, reason=plain("too warm"), hold_min=2.0, about=("air",))
HOLDS = Condition(begins=True, reason=plain("still too warm"), hold_min=2.0, about=("air",))
ENDS = Condition(ends=True, reason=plain("cool again"))
KEEP_MIN = 5.0


def at(minutes: float) -> datetime:
    return START + timedelta(minutes=minutes)


def look(
    alerts: tuple[Alert, ...],
    minutes: float,
    verdict: Condition = NOTHING,
    *,
    explained: str = "",
    is_interrupted: bool = False,
) -> AlertUpdate:
    """One look at one kind of alert."""
    episodes = Episodes.of(ABOUT, alerts, at(minutes), KEEP_MIN, is_interrupted=is_interrupted)
    episodes.advance(KIND, verdict)
    return episodes.settled({KIND: explained} if explained else {})


@pytest.fixture
def firing() -> Alert:
    """It was seen at 0 and has been firing since minute 2."""
    (alert,) = look(look((), 0.0, BEGINS).alerts, 2.0, HOLDS).alerts
    return alert


def changed(alert: Alert, minutes: float, phase: Phase, reason: str) -> Change:
    return Change(ABOUT, KIND, alert.episode, at(minutes), phase, reason)


def test_it_fires_when_it_has_held_and_says_what_is_so_then(firing: Alert) -> None:
    assert (firing.since_at, firing.fired_at, firing.called_at) == (at(0.0), at(2.0), at(2.0))
    assert (firing.reason, firing.about) == (plain("still too warm"), "air")
    assert firing.phase is Phase.UNACKNOWLEDGED


def test_what_it_is_about_when_it_fires_is_what_is_so_then() -> None:
    begun = look((), 0.0, BEGINS).alerts
    (alert,) = look(begun, 2.0, replace(HOLDS, about=("air", "probe"))).alerts
    assert alert.about == "air probe"


@pytest.mark.parametrize(("held_min", "fires"), [(2.0 - 5.1 / 60.0, False), (2.0 - 5.0 / 60.0, True)])
def test_a_look_may_come_five_seconds_early(held_min: float, fires: bool) -> None:
    (alert,) = look(look((), 0.0, BEGINS).alerts, held_min, HOLDS).alerts
    assert alert.is_firing is fires


def test_one_that_came_to_nothing_never_fired() -> None:
    (alert,) = look(look((), 0.0, BEGINS).alerts, 1.0).alerts
    assert (alert.fired_at, alert.returned_at, alert.reason) == (None, at(1.0), CameToNothing())
    assert alert.phase is Phase.NORMAL


def test_each_change_is_a_line_of_history() -> None:
    begun = look((), 0.0, BEGINS)
    assert begun.changes == ()  # what only looks so is nobody's business yet
    fired = look(begun.alerts, 2.0, HOLDS)
    (alert,) = fired.alerts
    assert fired.changes == (changed(alert, 2.0, Phase.UNACKNOWLEDGED, plain("still too warm")),)
    assert look(fired.alerts, 3.0, HOLDS).changes == ()
    quiet = look(fired.alerts, 4.0, ENDS)
    assert quiet.changes == ()
    over = look(quiet.alerts, 9.0, ENDS)
    assert over.changes == (changed(alert, 9.0, Phase.RETURNED, plain("cool again")),)


def test_history_tells_what_explains_an_alert(firing: Alert) -> None:
    found = look((firing,), 3.0, HOLDS, explained="its node is silent")
    assert found.changes == (changed(firing, 3.0, Phase.SUPPRESSED, "its node is silent"),)
    again = look(found.alerts, 4.0, HOLDS)
    assert again.changes == (changed(firing, 4.0, Phase.UNACKNOWLEDGED, plain("still too warm")),)


def test_what_is_explained_is_not_called_until_nothing_explains_it() -> None:
    hidden = look(look((), 0.0, BEGINS).alerts, 2.0, HOLDS, explained="its node is silent")
    assert (hidden.calls, hidden.alerts[0].called_at) == ((), None)
    told = look(hidden.alerts, 3.0, HOLDS)
    assert [call.called_at for call in told.calls] == [at(3.0)]
    assert look(told.alerts, 4.0, HOLDS).calls == ()


def test_it_is_over_when_it_has_looked_over_for_long_enough(firing: Alert) -> None:
    (quiet,) = look((firing,), 10.0, ENDS).alerts
    assert (quiet.quiet_since_at, quiet.returned_at) == (at(10.0), None)
    (still,) = look((quiet,), 14.9, ENDS).alerts
    assert (still.quiet_since_at, still.returned_at) == (at(10.0), None)
    (over,) = look((still,), 15.0, ENDS).alerts
    assert (over.quiet_since_at, over.returned_at, over.reason) == (None, at(15.0), plain("cool again"))
    assert over.phase is Phase.RETURNED


def test_looking_over_begins_anew_when_it_was_not_so_in_between(firing: Alert) -> None:
    (quiet,) = look((firing,), 10.0, ENDS).alerts
    (again,) = look((quiet,), 13.0, HOLDS).alerts
    assert again == firing
    (later,) = look((again,), 16.0, ENDS).alerts
    assert (later.quiet_since_at, later.returned_at) == (at(16.0), None)


def test_a_look_that_changes_nothing_changes_nothing(firing: Alert) -> None:
    found = look((firing,), 3.0, HOLDS)
    assert found.alerts == (firing,)
    assert (found.calls, found.changes) == ((), ())


def test_one_that_ends_explained_is_explained_no_more(firing: Alert) -> None:
    (quiet,) = look((firing,), 10.0, ENDS, explained="its node is silent").alerts
    (over,) = look((quiet,), 15.0, ENDS).alerts
    assert over.suppressed_by is None


def test_what_more_has_joined_is_a_new_episode(firing: Alert) -> None:
    joined = Condition(begins=True, reason=plain("and the probe"), hold_min=2.0, about=("air", "probe"))
    found = look((firing,), 3.0, joined)
    over, new = found.alerts
    assert (over.returned_at, over.reason, over.acknowledged_at) == (at(3.0), MoreJoined(), at(3.0))
    assert (new.episode, new.fired_at, new.about, new.reason) == (2, at(3.0), "air probe", plain("and the probe"))
    assert found.calls == (new,)
    known = replace(firing, acknowledged_at=at(2.5))
    assert look((known,), 3.0, joined).alerts[0].acknowledged_at == at(2.5)


def test_what_fewer_are_left_is_told_once_it_has_stayed_so(firing: Alert) -> None:
    both = replace(firing, about="air probe")
    fewer = Condition(begins=True, reason=plain("the air alone"), about=("air",))
    (waits,) = look((both,), 10.0, fewer).alerts
    assert (waits.about, waits.quiet_since_at) == ("air probe", at(10.0))
    (less,) = look((waits,), 15.0, fewer).alerts
    assert (less.about, less.reason, less.quiet_since_at) == ("air", plain("the air alone"), None)
    assert (less.fired_at, less.returned_at, less.episode) == (firing.fired_at, None, firing.episode)


def test_several_that_are_left_are_told_as_words_apart(firing: Alert) -> None:
    three = replace(firing, about="air level probe", quiet_since_at=at(4.0))
    (less,) = look((three,), 10.0, Condition(begins=True, reason=plain("two"), about=("air", "probe"))).alerts
    assert less.about == "air probe"


def test_a_gone_subject_has_nothing_to_acknowledge(firing: Alert) -> None:
    episodes = Episodes.of(ABOUT, (firing,), at(4.0), KEEP_MIN, is_interrupted=False)
    episodes.close(BatchEnded())
    (alert,) = episodes.settled({}).alerts
    assert (alert.returned_at, alert.acknowledged_at, alert.reason) == (at(4.0), at(4.0), BatchEnded())
    assert alert.phase is Phase.NORMAL


def test_one_that_waited_to_be_acknowledged_says_that_its_subject_is_gone(firing: Alert) -> None:
    over = replace(firing, returned_at=at(3.0), reason=plain("cool again"))
    episodes = Episodes.of(ABOUT, (over,), at(4.0), KEEP_MIN, is_interrupted=False)
    episodes.close(BatchEnded())
    (alert,) = episodes.settled({}).alerts
    assert (alert.returned_at, alert.acknowledged_at, alert.reason) == (at(3.0), at(4.0), BatchEnded())


def test_after_a_break_what_must_hold_holds_anew_and_what_fires_has_fired(firing: Alert) -> None:
    (holding,) = look((), 0.0, BEGINS).alerts
    (anew,) = look((holding,), 60.0, HOLDS, is_interrupted=True).alerts
    assert (anew.since_at, anew.fired_at) == (at(60.0), None)
    (still,) = look((firing,), 60.0, HOLDS, is_interrupted=True).alerts
    assert (still.since_at, still.fired_at) == (firing.since_at, firing.fired_at)
    quiet = replace(firing, quiet_since_at=at(4.0))
    (later,) = look((quiet,), 60.0, ENDS, is_interrupted=True).alerts
    assert (later.quiet_since_at, later.returned_at) == (at(60.0), None)


def test_a_clock_set_back_leaves_no_moment_ahead(firing: Alert) -> None:
    (alert,) = look((firing,), -30.0, HOLDS, is_interrupted=True).alerts
    assert (alert.since_at, alert.fired_at) == (at(-30.0), at(-30.0))


def test_who_shelved_it_knows_of_it(firing: Alert) -> None:
    shelved = replace(firing, shelved_until=at(60.0), quiet_since_at=at(4.0))
    (over,) = look((shelved,), 20.0, ENDS).alerts
    assert (over.returned_at, over.acknowledged_at, over.phase) == (at(20.0), at(20.0), Phase.NORMAL)


def test_a_shelf_runs_out_at_its_minute_and_the_alert_is_back(firing: Alert) -> None:
    shelved = replace(firing, shelved_until=at(60.0))
    assert look((shelved,), 59.9, HOLDS).alerts[0].phase is Phase.SHELVED
    back = look((shelved,), 60.0, HOLDS)
    assert (back.alerts[0].shelved_until, back.alerts[0].phase) == (None, Phase.UNACKNOWLEDGED)


def test_a_shelf_holds_on_for_the_next_episode(firing: Alert) -> None:
    over = replace(firing, returned_at=at(10.0), shelved_until=at(60.0))
    (_, new) = look((over,), 20.0, BEGINS).alerts
    assert (new.episode, new.shelved_until) == (2, at(60.0))
