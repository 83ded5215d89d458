"""The outbox is drained: a call reaches its recipient by one channel or the next, and again until it is answered."""

import logging
import threading
from dataclasses import replace
from datetime import UTC, time, timedelta
from pathlib import Path

import pytest
from harness import PATIENCE_S, START, wait_until

from monitor.alerts.calls import Call, CallRules, QuietHours
from monitor.alerts.dough import Alert, AlertKind, Message, Subject
from monitor.alerts.kinds import NoticeKind
from monitor.dough.outlook import Outlook, State
from monitor.errors import NotifyError
from monitor.notify.carriers import Carrier
from monitor.notify.outbox import FIRST_WAIT_S, LONGEST_WAIT_S, MOST_TRIES, Notifier, Recipient
from monitor.recipe.batch import Batch, BatchId, Stage
from monitor.recipe.vessel import Shape, Vessel
from monitor.store.store import Store
from monitor.wording.alerts import trial_answer, trial_call
from monitor.wording.reader import Reader

LATER = NotifyError("phone: it answered 503", retry=True)
NEVER = NotifyError("phone: it answered 404", retry=False)
SUBJECT = Subject.batch(BatchId(1))
NIGHT = CallRules(quiet=QuietHours(time(21, 30), time(6, 0)))  # START is 05:40


class HandClock:
    """Both times stand until a test moves them."""

    def __init__(self) -> None:
        self.at = START
        self.s = 0.0

    def now(self):
        return self.at

    def real_s(self) -> float:
        return self.s

    def wait(self, seconds: float) -> None:
        """Both go on."""
        self.s += seconds
        self.at += timedelta(seconds=seconds)


class Phone:
    """A carrier of the test's own: notes what it is given, or fails as it is told."""

    def __init__(self, name: str = "phone") -> None:
        self.name = name
        self.got: list[str] = []
        self.tried = 0
        self.error: Exception | None = None

    def send(self, message: Message) -> None:
        self.tried += 1
        if self.error is not None:
            raise self.error
        self.got.append(message.id)


class Bench:
    """A store with one batch, a clock in the hand, and a notifier for whoever is named."""

    def __init__(self, store: Store, path: Path) -> None:
        self.store = store
        self.path = path
        self.clock = HandClock()
        tub = Vessel(Shape.ROUND, (180, 180), (210, 210), 250)
        store.batches.add(Batch(BatchId(0), "Hill country loaf", Stage.FIRST_RISE, START, tub))

    def put(self, kind: AlertKind = AlertKind.READY_SOON, episode: int = 1, **changes: object) -> str:
        """An alert that has just been called, with its message, as one step keeps them; returns its id."""
        alert = Alert(SUBJECT, kind, episode, self.clock.at, self.clock.at, called_at=self.clock.at)
        message = Message(alert.message_id, BatchId(1), kind, episode, "title", "text", self.clock.at)
        at = START + timedelta(seconds=len(self.store.outlooks.of(BatchId(1))))
        self.store.save_step(BatchId(1), Outlook(at, State.READY), (replace(alert, **changes),), (message,))  # type: ignore[arg-type]
        return message.id

    def notifier(self, *people: Carrier | tuple[Carrier, ...], screen: Carrier | None = None, **more) -> Notifier:
        recipients = [
            Recipient(f"person {n}", one if isinstance(one, tuple) else (one,)) for n, one in enumerate(people, start=1)
        ]
        screens = [] if screen is None else [screen]
        return Notifier(self.path, recipients, self.clock, zone=UTC, screens=screens, **more)

    def run(self, sender: Notifier, minutes: float, step_s: float = 10.0) -> None:
        """Let time pass and drain all the while."""
        for _ in range(round(minutes * 60.0 / step_s)):
            sender.drain(self.store)
            self.clock.wait(step_s)

    def number(self) -> int:
        return self.store.alerts.all()[0].number

    @property
    def is_over(self) -> bool:
        return not self.store.outbox.open_messages()


@pytest.fixture
def bench(store: Store, tmp_path: Path) -> Bench:
    return Bench(store, tmp_path / "proofing.sqlite")


# -- one call ------------------------------------------------------------------------------------------------------


def test_message_goes_to_the_first_recipient_and_to_the_terminal_once(bench: Bench) -> None:
    name = bench.put()
    first, second, screen = Phone(), Phone("other"), Phone("terminal")
    sender = bench.notifier(first, second, screen=screen)
    bench.run(sender, 30)
    assert first.got == screen.got == [name]
    assert second.got == []
    assert bench.is_over
    assert bench.store.outbox.messages()[0].delivered_at == START
    (_, call) = bench.store.outbox.calls(name)
    assert (call.recipient, call.carrier, call.tries, call.accepted_at) == ("person 1", "phone", 1, START)


@pytest.mark.parametrize("error", [LATER, NEVER])
def test_a_carrier_that_takes_nothing_is_named_until_it_takes_something(bench: Bench, error: NotifyError) -> None:
    bench.put()
    phone = Phone()
    phone.error = error
    sender = bench.notifier(phone, Phone("other"))
    assert sender.failing == ()
    bench.run(sender, 1)
    assert sender.failing == ("phone",)
    phone.error = None
    bench.put(episode=2)
    bench.run(sender, 10)
    assert sender.failing == ()


def test_carrier_that_fails_waits_longer_each_time(bench: Bench) -> None:
    bench.put()
    phone = Phone()
    phone.error = LATER
    sender = bench.notifier(phone)
    tries_at = []
    while bench.clock.s < 40.0:
        before = phone.tried
        sender.drain(bench.store)
        if phone.tried > before:
            tries_at.append(bench.clock.s)
        bench.clock.wait(0.5)
    assert tries_at == [0.0, 2.0, 6.0, 14.0, 30.0]
    phone.error = None
    bench.clock.wait(LONGEST_WAIT_S)
    sender.drain(bench.store)
    assert phone.got == ["1-ready-soon-1"]
    assert bench.store.outbox.messages()[0].attempts == 6


def test_second_channel_is_tried_after_a_minute_and_neither_after_one_took_it(bench: Bench) -> None:
    name = bench.put()
    push, mail = Phone("push"), Phone("mail")
    push.error = LATER
    sender = bench.notifier((push, mail))
    bench.run(sender, 0.95, 1.0)
    assert mail.tried == 0
    bench.run(sender, 0.2, 1.0)
    assert mail.got == [name]
    tried = push.tried
    bench.run(sender, 20)
    assert (push.tried, mail.got) == (tried, [name])
    assert bench.store.outbox.calls(name)[0].carrier == "mail"


def test_second_channel_is_tried_at_once_when_the_first_refuses_for_good(bench: Bench) -> None:
    name = bench.put()
    push, mail = Phone("push"), Phone("mail")
    push.error = NEVER
    sender = bench.notifier((push, mail))
    bench.run(sender, 0.05, 1.0)
    assert mail.got == [name]


def test_refused_by_every_channel_it_goes_to_the_next_recipient_and_then_is_given_up(
    bench: Bench, caplog: pytest.LogCaptureFixture
) -> None:
    name = bench.put()
    first, second = Phone(), Phone("other")
    first.error = second.error = NEVER
    bench.run(bench.notifier(first, second), 10)
    assert (first.tried, second.tried) == (1, 1)
    assert bench.is_over
    assert bench.store.outbox.messages()[0].delivered_at is None
    assert f"message={name} carrier=phone state=given_up" in caplog.text


def test_trying_ends_some_day(bench: Bench) -> None:
    bench.put()
    phone = Phone()
    phone.error = LATER
    bench.run(bench.notifier(phone), 5.0 * (MOST_TRIES + 5), LONGEST_WAIT_S)
    assert phone.tried == MOST_TRIES
    assert bench.is_over


def test_carrier_that_is_down_is_not_asked_again_for_every_message(bench: Bench) -> None:
    for n in range(1, 12):
        bench.put(episode=n)
    phone = Phone()
    phone.error = LATER
    bench.notifier(phone).drain(bench.store)
    assert phone.tried == 1


def test_many_messages_go_out_in_one_drain(bench: Bench) -> None:
    for n in range(1, 51):
        bench.put(episode=n)
    phone = Phone()
    bench.notifier(phone).drain(bench.store)
    assert len(phone.got) == len(set(phone.got)) == 50


def test_message_that_a_carrier_chokes_on_does_not_hold_up_the_next(bench: Bench) -> None:
    class Picky(Phone):
        def send(self, message: Message) -> None:
            self.error = LATER if message.kind is AlertKind.READY_SOON else None
            super().send(message)

    bench.put()
    other = bench.put(AlertKind.AIR_TOO_DRY)
    phone = Picky()
    sender = bench.notifier(phone)
    sender.drain(bench.store)
    bench.clock.wait(FIRST_WAIT_S)
    sender.drain(bench.store)
    assert phone.got == [other]


def test_carrier_that_hangs_holds_up_neither_the_other_nor_the_end(bench: Bench) -> None:
    released = threading.Event()

    class Hanging(Phone):
        def send(self, message: Message) -> None:
            released.wait(60.0)
            super().send(message)

    first, second = bench.put(), bench.put(AlertKind.AIR_TOO_DRY)
    stuck, mail = Hanging("push"), Phone("mail")
    sender = bench.notifier((stuck, mail))
    sender.drain(bench.store)
    bench.clock.wait(61.0)
    for _ in range(3):
        sender.drain(bench.store)
    assert mail.got == [first, second]
    released.set()


def test_fault_in_a_service_is_a_failure_like_another(bench: Bench, caplog: pytest.LogCaptureFixture) -> None:
    name = bench.put()
    phone = Phone()
    phone.error = RuntimeError("a plugin's own fault")
    sender = bench.notifier(phone)
    sender.drain(bench.store)
    assert "state=failing" in caplog.text
    phone.error = None
    bench.clock.wait(FIRST_WAIT_S)
    sender.drain(bench.store)
    assert phone.got == [name]


def test_failing_carrier_is_logged_once_and_again_when_it_is_well(
    bench: Bench, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO, logger="monitor.notify.outbox")
    bench.put()
    phone = Phone()
    phone.error = LATER
    sender = bench.notifier(phone)
    bench.run(sender, 20, LONGEST_WAIT_S)
    phone.error = None
    sender.drain(bench.store)
    lines = [record.getMessage() for record in caplog.records if record.getMessage().startswith("carrier=")]
    assert lines == ["carrier=phone state=failing reason=phone: it answered 503", "carrier=phone state=ok failures=4"]


def test_with_nobody_to_call_the_terminal_has_it_and_it_is_closed(bench: Bench) -> None:
    name = bench.put()
    screen = Phone("terminal")
    bench.notifier(screen=screen).drain(bench.store)
    assert screen.got == [name]
    assert bench.is_over
    assert bench.store.outbox.messages()[0].delivered_at == START


def test_with_nothing_at_all_it_is_closed_undelivered(bench: Bench) -> None:
    bench.put()
    bench.notifier().drain(bench.store)
    assert bench.is_over
    assert bench.store.outbox.messages()[0].delivered_at is None


# -- again, and to the next ----------------------------------------------------------------------------------------


def test_unanswered_wake_up_call_repeats_every_five_minutes_then_goes_to_the_next_with_the_same_id(
    bench: Bench,
) -> None:
    name = bench.put(AlertKind.READY)
    first, second = Phone(), Phone("other")
    sender = bench.notifier(first, second, rules=NIGHT)
    rang: list[tuple[float, str]] = []
    for _ in range(23 * 6):
        before = len(first.got), len(second.got)
        sender.drain(bench.store)
        rang += [(bench.clock.s / 60.0, "first")] * (len(first.got) - before[0])
        rang += [(bench.clock.s / 60.0, "second")] * (len(second.got) - before[1])
        bench.clock.wait(10.0)
    assert rang == [(0.0, "first"), (5.0, "first"), (10.0, "second"), (15.0, "second"), (20.0, "first")]
    assert set(first.got + second.got) == {name}


def test_acknowledged_it_is_called_no_more(bench: Bench) -> None:
    bench.put(AlertKind.READY)
    phone = Phone()
    sender = bench.notifier(phone, rules=NIGHT)
    bench.run(sender, 6)
    assert len(phone.got) == 2
    bench.store.alerts.acknowledge(bench.number(), bench.clock.now())
    bench.run(sender, 60)
    assert len(phone.got) == 2
    assert bench.is_over


def test_shelved_it_rests_and_is_called_again_when_the_time_is_up(bench: Bench) -> None:
    bench.put(AlertKind.READY)
    phone = Phone()
    sender = bench.notifier(phone, rules=NIGHT)
    bench.run(sender, 1)
    bench.store.alerts.shelve(bench.number(), bench.clock.now() + timedelta(minutes=30), bench.clock.now())
    bench.run(sender, 30)
    assert len(phone.got) == 1
    alert = bench.store.alerts.all()[0]
    bench.store.alerts.save([alert], [], [], bench.clock.now() + timedelta(minutes=5))  # a look takes it off
    bench.run(sender, 1)
    assert len(phone.got) == 2


def test_quiet_hours_hold_back_what_need_not_wake(bench: Bench) -> None:
    quiet = bench.put(AlertKind.AIR_TOO_DRY)
    loud = bench.put(AlertKind.PAST_PEAK)
    phone, screen = Phone(), Phone("terminal")
    sender = bench.notifier(phone, screen=screen, rules=NIGHT)
    sender.drain(bench.store)
    assert phone.got == [loud]
    assert screen.got == [quiet, loud], "the terminal wakes nobody"
    bench.clock.wait(20 * 60.0)  # 06:00
    sender.drain(bench.store)
    assert quiet in phone.got


# -- stops and clocks ----------------------------------------------------------------------------------------------


def test_call_that_was_begun_goes_on_after_a_crash_under_the_same_id(bench: Bench) -> None:
    name = bench.put(AlertKind.READY)
    phone = Phone()
    phone.error = LATER
    bench.notifier(phone).drain(bench.store)
    phone.error = None
    bench.run(bench.notifier(phone), 1)
    assert phone.got == [name]
    assert [call.number for call in bench.store.outbox.calls(name)] == [1]


def test_restart_repeats_no_call_before_its_time(bench: Bench) -> None:
    bench.put(AlertKind.READY)
    phone, screen = Phone(), Phone("terminal")
    bench.run(bench.notifier(phone, screen=screen), 3)
    sender = bench.notifier(phone, screen=screen)
    bench.run(sender, 1.9)
    assert len(phone.got) == 1
    bench.run(sender, 0.5)
    assert len(phone.got) == 2
    assert len(screen.got) == 1


@pytest.mark.parametrize("hours", [1.0, 24.0, -1.0, -24.0, -56 * 365 * 24.0])
def test_wall_clock_that_jumps_repeats_nothing_and_delays_nothing(bench: Bench, hours: float) -> None:
    bench.put(AlertKind.READY)
    phone = Phone()
    sender = bench.notifier(phone)
    bench.run(sender, 2)
    bench.clock.at += timedelta(hours=hours)
    bench.run(sender, 2.9)
    assert len(phone.got) == 1
    bench.run(sender, 0.5)
    assert len(phone.got) == 2


@pytest.mark.parametrize("hours", [-1.0, -24.0])
def test_clock_that_was_set_back_over_a_restart_delays_no_call_beyond_one_wait(bench: Bench, hours: float) -> None:
    bench.put(AlertKind.READY)
    phone = Phone()
    bench.run(bench.notifier(phone), 2)
    bench.clock.at += timedelta(hours=hours)
    bench.run(bench.notifier(phone), 5.5)
    assert len(phone.got) == 2


def test_stop_sends_what_is_still_due(bench: Bench) -> None:
    first = bench.put()
    phone = Phone()
    sender = bench.notifier(phone)
    sender.start()
    wait_until(lambda: len(phone.got) == 1, "the first message")
    second = bench.put(AlertKind.AIR_TOO_DRY)
    sender.stop()
    assert phone.got == [first, second]


# -- a test call -----------------------------------------------------------------------------------------------------


def answers(bench: Bench) -> list[tuple[str, str, bool, str]]:
    return [
        (call.recipient, call.carrier, call.accepted_at is not None, call.detail)
        for call in bench.store.outbox.calls()
        if call.number > 0
    ]


def run_until_over(bench: Bench, sender: Notifier) -> None:
    def is_over() -> bool:
        sender.drain(bench.store)
        return bench.is_over

    wait_until(is_over, "each address has answered")


def test_a_test_call_rings_each_address_of_everybody_once_quiet_hours_or_not(bench: Bench) -> None:
    first, second, dead, odd, last = (Phone(name) for name in ("a#1", "b#2", "c#3", "d#4", "e#5"))
    dead.error, odd.error = NotifyError("c#3: it answered {detail}", retry=False, detail="403"), KeyError("plugin")
    bench.store.outbox.add(trial_call(bench.clock.at, Reader(UTC)))
    run_until_over(bench, bench.notifier((first, second), (dead, odd), last, rules=NIGHT))
    assert [each.tried for each in (first, second, dead, odd, last)] == [1, 1, 1, 1, 1]
    assert answers(bench) == [
        ("person 1", "a#1", True, ""),
        ("person 1", "b#2", True, ""),
        ("person 2", "c#3", False, "403"),
        ("person 2", "d#4", False, "KeyError"),
        ("person 3", "e#5", True, ""),
    ]
    said = [trial_answer(call, Reader(UTC)) for call in bench.store.outbox.calls() if call.accepted_at is None]
    assert said == ["person 2, c#3: it answered 403", "person 2, d#4: KeyError while sending"]


def test_a_test_call_that_was_cut_short_goes_on_with_who_was_not_rung(bench: Bench) -> None:
    first, second = Phone("a#1"), Phone("b#2")
    message = trial_call(bench.clock.at, Reader(UTC))
    bench.store.outbox.add(message)
    bench.store.outbox.save_call(Call(message.id, 1, "person 1", bench.clock.at, bench.clock.at, "a#1", 1))
    run_until_over(bench, bench.notifier(first, second))
    assert (first.tried, second.tried) == (0, 1)


def test_a_real_call_does_not_wait_for_a_test_call_that_hangs(bench: Bench) -> None:
    hold, taken = threading.Event(), threading.Event()

    class Hanging(Phone):
        def send(self, message: Message) -> None:
            if message.kind is NoticeKind.TEST_CALL:
                taken.set()
                hold.wait()
            super().send(message)

    phone = Hanging()
    sender = bench.notifier(phone)
    bench.store.outbox.add(trial_call(bench.clock.at, Reader(UTC)))
    sender.drain(bench.store)
    assert taken.wait(PATIENCE_S)
    wanted = bench.put()
    sender.drain(bench.store)
    try:
        wait_until(lambda: phone.got == [wanted], "the real call is taken")
    finally:
        hold.set()
    run_until_over(bench, sender)
    assert len(phone.got) == 2


def test_with_nobody_to_ring_a_test_call_is_over_at_once(bench: Bench) -> None:
    bench.store.outbox.add(trial_call(bench.clock.at, Reader(UTC)))
    run_until_over(bench, bench.notifier())
    assert answers(bench) == []
