"""Whom to call and when again, decided with the hour and the waiting in the test's hand."""

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from monitor.alerts.calls import WAKES, Call, CallRules, Next, OpenMessage, QuietHours, decide, nights
from monitor.alerts.dough import Alert, AlertKind, Message, Subject
from monitor.alerts.reasons import HeightUnseen
from monitor.recipe.batch import BatchId

NIGHT = datetime(2026, 3, 2, 2, 0, tzinfo=UTC)
NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
QUIET = CallRules(quiet=QuietHours(time(21, 30), time(4, 0)))
VIENNA = ZoneInfo("Europe/Vienna")


def pending(kind: AlertKind, *calls: Call, waited_min: float = 0.0, **changes: object) -> OpenMessage:
    alert = Alert(Subject.batch(BatchId(7)), kind, 1, NIGHT, NIGHT, called_at=NIGHT)
    message = Message(alert.message_id, BatchId(7), kind, 1, "title", "text", NIGHT)
    return OpenMessage(message, replace(alert, **changes), calls, waited_min)  # type: ignore[arg-type]


def call(number: int, recipient: str = "Ida", *, is_taken: bool = True) -> Call:
    return Call("7-ready-1", number, recipient, NIGHT, NIGHT if is_taken else None)


def do(rules: CallRules, about: OpenMessage, now: datetime = NIGHT, recipients: int = 2) -> tuple[Next, int]:
    decision = decide(rules, about, recipients, now, UTC)
    assert decision.why
    return decision.do, decision.recipient


def test_what_wakes_is_called_in_quiet_hours_and_the_rest_when_they_are_over() -> None:
    assert do(QUIET, pending(AlertKind.READY)) == (Next.CALL, 0)
    assert do(QUIET, pending(AlertKind.AIR_TOO_DRY))[0] is Next.WAIT
    assert do(QUIET, pending(AlertKind.AIR_TOO_DRY), NIGHT + timedelta(hours=2)) == (Next.CALL, 0)
    assert do(QUIET, pending(AlertKind.AIR_TOO_DRY), NOON) == (Next.CALL, 0)


def test_what_was_held_back_and_is_over_or_known_by_then_is_not_called() -> None:
    assert do(QUIET, pending(AlertKind.AIR_TOO_DRY, returned_at=NIGHT), NOON)[0] is Next.CLOSE
    assert do(QUIET, pending(AlertKind.AIR_TOO_DRY, acknowledged_at=NIGHT), NOON)[0] is Next.CLOSE


def test_which_kinds_wake_can_be_set() -> None:
    rules = replace(QUIET, wakes=frozenset({AlertKind.AIR_TOO_DRY}))
    assert do(rules, pending(AlertKind.AIR_TOO_DRY))[0] is Next.CALL
    assert do(rules, pending(AlertKind.READY))[0] is Next.WAIT


def test_unanswered_call_repeats_every_five_minutes_and_then_goes_to_the_next() -> None:
    calls: list[Call] = []
    names = ("Ida", "Oskar")
    asked = []
    for minute in range(0, 200):
        waited = 0.0 if not calls else minute - 5.0 * (len(calls) - 1)
        what, who = do(QUIET, pending(AlertKind.READY, *calls, waited_min=waited))
        if what is Next.CLOSE:
            break
        if what is Next.CALL:
            asked.append((minute, names[who]))
            calls.append(call(len(calls) + 1, names[who]))
    assert asked[:6] == [(0, "Ida"), (5, "Ida"), (10, "Oskar"), (15, "Oskar"), (20, "Ida"), (25, "Ida")]
    assert len(asked) == QUIET.most_calls, "some day nobody is there"
    assert what is Next.CLOSE


@pytest.mark.parametrize("change", ["acknowledged_at", "returned_at"])
def test_answered_or_over_it_is_called_no_more(change: str) -> None:
    assert do(QUIET, pending(AlertKind.READY, call(1), waited_min=60.0, **{change: NIGHT}))[0] is Next.CLOSE


def test_shelved_or_explained_it_waits_and_goes_on_after() -> None:
    shelved = pending(AlertKind.READY, call(1), waited_min=60.0, shelved_until=NIGHT + timedelta(hours=1))
    assert do(QUIET, shelved)[0] is Next.WAIT
    assert do(QUIET, pending(AlertKind.READY, call(1), waited_min=60.0, suppressed_by=HeightUnseen()))[0] is Next.WAIT
    assert do(QUIET, pending(AlertKind.READY, call(1), waited_min=60.0)) == (Next.CALL, 0)


def test_what_does_not_wake_is_told_once() -> None:
    assert do(QUIET, pending(AlertKind.READY_SOON, call(1), waited_min=60.0), NOON)[0] is Next.CLOSE


def test_call_that_no_carrier_takes_is_tried_on_and_then_goes_to_the_next() -> None:
    waiting = pending(AlertKind.READY, call(1, is_taken=False), waited_min=2.0)
    assert do(QUIET, waiting)[0] is Next.TRY_ON
    assert do(QUIET, replace(waiting, waited_min=5.0)) == (Next.CALL, 1)
    assert do(QUIET, replace(waiting, is_given_up=True)) == (Next.CALL, 1)
    assert do(QUIET, pending(AlertKind.READY_SOON, call(1, is_taken=False), waited_min=60.0), NOON)[0] is Next.TRY_ON


def test_when_nobody_can_be_reached_what_wakes_is_tried_again_later_and_the_rest_is_closed() -> None:
    calls = (call(1, is_taken=False), call(2, "Oskar", is_taken=False))
    assert do(QUIET, replace(pending(AlertKind.READY_SOON, *calls), is_given_up=True), NOON)[0] is Next.CLOSE
    assert do(QUIET, replace(pending(AlertKind.READY, *calls), is_given_up=True))[0] is Next.WAIT
    assert do(QUIET, replace(pending(AlertKind.READY, *calls, waited_min=5.0), is_given_up=True)) == (Next.CALL, 0)


def test_nobody_to_call_closes_it() -> None:
    assert do(QUIET, pending(AlertKind.READY), recipients=0)[0] is Next.CLOSE


def test_alert_that_is_not_known_is_told_all_the_same() -> None:
    assert do(QUIET, OpenMessage(pending(AlertKind.READY).message, None)) == (Next.CALL, 0)


@pytest.mark.parametrize(
    ("moment", "is_quiet"),
    [
        # the night in which clocks go forward in Vienna: 02:00 becomes 03:00 (01:00 UTC)
        (datetime(2026, 3, 29, 0, 59, tzinfo=UTC), True),  # 01:59
        (datetime(2026, 3, 29, 1, 30, tzinfo=UTC), True),  # 03:30
        (datetime(2026, 3, 29, 2, 0, tzinfo=UTC), False),  # 04:00, an hour sooner by UTC than the night before
        # the night in which they go back: 03:00 becomes 02:00 (01:00 UTC)
        (datetime(2026, 10, 25, 0, 30, tzinfo=UTC), True),  # 02:30 the first time
        (datetime(2026, 10, 25, 1, 30, tzinfo=UTC), True),  # 02:30 the second time
        (datetime(2026, 10, 25, 2, 59, tzinfo=UTC), True),  # 03:59
        (datetime(2026, 10, 25, 3, 0, tzinfo=UTC), False),  # 04:00
    ],
)
def test_quiet_hours_follow_the_bakers_clock_when_it_is_put_on_or_back(moment: datetime, is_quiet: bool) -> None:
    assert QuietHours(time(21, 30), time(4, 0)).covers(moment, VIENNA) is is_quiet


NOON_REST = QuietHours(time(12, 0), time(14, 0))


def test_quiet_hours_within_one_day() -> None:
    assert [NOON_REST.covers(NOON + timedelta(hours=h), UTC) for h in (-1, 0, 1, 2)] == [False, True, True, False]


@pytest.mark.parametrize(
    ("quiet", "now", "starts", "hours"),
    [
        (QUIET.quiet, datetime(2026, 3, 3, 12, 0, tzinfo=UTC), [(2, 21), (1, 21)], 6.5),
        (QUIET.quiet, datetime(2026, 3, 3, 23, 0, tzinfo=UTC), [(3, 21), (2, 21)], 6.5),  # this one goes on
        (NOON_REST, datetime(2026, 3, 3, 11, 0, tzinfo=UTC), [(2, 12), (1, 12)], 2.0),
        (
            None,
            datetime(2026, 3, 3, 12, 0, tzinfo=UTC),
            [(2, 22), (1, 22)],
            8.0,
        ),
    ],
)
def test_the_last_nights_are_the_quiet_hours_that_have_begun_the_newest_first(
    quiet: QuietHours | None, now: datetime, starts: list[tuple[int, int]], hours: float
) -> None:
    found = nights(quiet, now, UTC, 2)
    assert [(start.day, start.hour) for start, _ in found] == starts
    assert [end - start for start, end in found] == [timedelta(hours=hours)] * 2


def test_kinds_that_wake_are_those_for_which_somebody_must_come() -> None:
    assert AlertKind.READY in WAKES
    assert not WAKES & {AlertKind.READY_SOON, AlertKind.AIR_TOO_DRY, AlertKind.AIR_TOO_COLD, AlertKind.SENSOR_SILENT}
