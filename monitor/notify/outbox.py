"""Calls people for the messages of the outbox: whom, over which channel, and again until it is answered.

The outbox lies in the store, so a message survives a crash. A call is written down before it is sent and closed after
a carrier took it: one that was sent but not yet closed is sent again. Twice is better than never, and both carry the
same id. What must be decided is decided by :mod:`monitor.alerts.calls`; here it is sent. A carrier that fails or hangs
waits longer and longer, alone, on a thread of its own: the others go on.
"""

import logging
from collections.abc import Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, field, replace
from datetime import timedelta, tzinfo
from pathlib import Path

from monitor.alerts.calls import Call, CallRules, DecisionReason, Next, OpenMessage, decide
from monitor.alerts.dough import Message
from monitor.alerts.kinds import NoticeKind
from monitor.clock import Clock
from monitor.errors import NotifyError, StoreError
from monitor.notify.carriers import Carrier
from monitor.store.store import Store
from monitor.worker import Worker

log = logging.getLogger(__name__)

FIRST_WAIT_S = 2.0  # judgement
LONGEST_WAIT_S = 300.0  # judgement
MOST_TRIES = 20  # judgement: with the waits above, somewhat more than an hour
POLL_S = 0.5  # judgement: what a baker does not notice
MOST_SENDS = 8  # judgement: carriers that may hang at the same time before another must wait for them
TERMINAL = "terminal"


@dataclass(frozen=True, slots=True)
class Recipient:
    """Somebody to call, with the ways to reach them, the first to try first."""

    name: str
    channels: tuple[Carrier, ...]


@dataclass(slots=True)
class _CarrierState:
    """One carrier and how it fares."""

    carrier: Carrier
    failures: int = 0
    next_try_s: float = float("-inf")
    is_failing: bool = False
    sending: "Future[None] | None" = None


@dataclass(slots=True)
class _OngoingCall:
    """A call that has begun: since when, and what each channel has come to. Times are of the monotonic clock."""

    call: Call
    began_s: float
    tries: dict[int, int] = field(default_factory=dict)
    given_up: set[int] = field(default_factory=set)


class Notifier(Worker):
    """Drains the outbox on its own thread, with its own connection to the store; once more when it is stopped.

    Parameters
    ----------
    store_path
        The store's file.
    recipients
        Whom to call, in this order.
    clock
        Moments are its dough time; waiting for an answer and between tries is real time, which nobody sets.
    screens
        Carriers that have each message once and at once, quiet hours or not: the terminal.
    """

    def __init__(
        self,
        store_path: Path,
        recipients: Sequence[Recipient],
        clock: Clock,
        *,
        zone: tzinfo,
        rules: CallRules | None = None,
        screens: Sequence[Carrier] = (),
    ) -> None:
        super().__init__("notify")
        self._store_path = store_path
        self._clock = clock
        self._zone = zone
        self._rules = CallRules() if rules is None else rules
        self._recipients = tuple(recipients)
        self._screens = tuple(screens)
        self._carriers = {(who.name, n): _CarrierState(one) for who in recipients for n, one in enumerate(who.channels)}
        self._ongoing: dict[str, _OngoingCall] = {}
        self._sends: dict[Future[None], tuple[str, tuple[str, int]]] = {}
        self._tested: set[str] = set()
        self._pool: ThreadPoolExecutor | None = None

    @property
    def failing(self) -> tuple[str, ...]:
        """Names of the carriers that did not take what they were last given."""
        return tuple(sorted({state.carrier.name for state in self._carriers.values() if state.is_failing}))

    def _run(self) -> None:
        failures = 0
        while not self._stopping.is_set():
            try:
                with Store(self._store_path) as store:
                    while not self._stopping.is_set():
                        self.drain(store)
                        failures = 0
                        self._stopping.wait(POLL_S)
                    self.drain(store)
            except StoreError as error:
                failures += 1
                if failures == 1:
                    log.error("notify state=failing reason=%s", error)
                self._stopping.wait(_wait_s(failures))
        self._end_sending()

    def _end_sending(self) -> None:
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)
            self._pool = None

    def drain(self, store: Store) -> None:
        """Do what is due for each open message, and record what came of what was sent before."""
        open_now = store.outbox.open_messages()
        for message, alert, calls in open_now:
            if all(call.number > 0 for call in calls):
                self._show(store, message)
            if message.kind is NoticeKind.TEST_CALL:
                if message.id not in self._tested:
                    self._tested.add(message.id)
                    self._workers().submit(self._test, message, max((call.number for call in calls), default=0))
                continue
            self._decide(store, OpenMessage(message, alert, [call for call in calls if call.number > 0]))
        for message_id in self._ongoing.keys() - {message.id for message, _, _ in open_now}:
            del self._ongoing[message_id]
        messages = {message.id: message for message, _, _ in open_now}
        while self._send_all(messages) and self._collect(store):
            pass  # each carrier takes one message after the other

    def _show(self, store: Store, message: Message) -> None:
        """Put a message on the screens, once."""
        if not self._screens and self._recipients:
            return
        for screen in self._screens:
            try:
                screen.send(message)
            except NotifyError as error:
                log.warning("message=%s carrier=%s state=given_up reason=%s", message.id, screen.name, error)
        now = self._clock.now()
        # what only the terminal had was told all the same; what people are called for is told when they have it
        is_delivered = bool(self._screens) and not self._recipients
        store.outbox.save_call(Call(message.id, 0, TERMINAL, now, now if is_delivered else None, TERMINAL))

    def _decide(self, store: Store, pending: OpenMessage) -> None:
        message = pending.message
        ongoing = self._ongoing.get(message.id)
        if ongoing is None and pending.calls:
            ongoing = self._ongoing[message.id] = self._resumed(pending.calls[-1])
        if ongoing is not None:
            names = [who.name for who in self._recipients]
            channels = self._channels(ongoing.call.recipient) if ongoing.call.recipient in names else ()
            pending = replace(
                pending,
                waited_min=(self._clock.real_s() - ongoing.began_s) / 60.0,
                is_given_up=len(ongoing.given_up) >= len(channels),
            )
        decision = decide(self._rules, pending, len(self._recipients), self._clock.now(), self._zone)
        if decision.do is Next.CLOSE:
            store.outbox.close_message(message.id, decision.why)
            self._ongoing.pop(message.id, None)
            log.info("message=%s state=closed reason=%r calls=%d", message.id, decision.why, len(pending.calls))
        elif decision.do is Next.CALL:
            who = self._recipients[decision.recipient]
            call = Call(message.id, len(pending.calls) + 1, who.name, self._clock.now())
            store.outbox.save_call(call)  # before it is sent: after a crash it goes on as this call
            self._ongoing[message.id] = _OngoingCall(call, self._clock.real_s())
            if call.number > 1:
                log.info("message=%s call=%d reason=%r", message.id, call.number, decision.why)

    def _resumed(self, call: Call) -> _OngoingCall:
        """A call of an earlier run. How long ago it was is only as good as two clocks: never more than one wait."""
        ago_s = (self._clock.now() - call.at) / timedelta(seconds=1)
        return _OngoingCall(call, self._clock.real_s() - min(max(ago_s, 0.0), self._rules.repeat_min * 60.0))

    def _channels(self, name: str) -> tuple[Carrier, ...]:
        return next(who.channels for who in self._recipients if who.name == name)

    def _send_all(self, messages: Mapping[str, Message]) -> bool:
        """Hand out what can be handed out now; True when anything is on its way."""
        # The least tried first, so that one message a carrier chokes on does not hold up the others.
        for message_id, ongoing in sorted(self._ongoing.items(), key=lambda each: sum(each[1].tries.values())):
            self._send_on(messages[message_id], ongoing)
        return bool(self._sends)

    def _send_on(self, message: Message, ongoing: _OngoingCall) -> None:
        """Hand a call to each channel whose turn it is and which is free."""
        if ongoing.call.accepted_at is not None:
            return
        waited_s = self._clock.real_s() - ongoing.began_s
        n_channels = sum(1 for name, _ in self._carriers if name == ongoing.call.recipient)
        for n in range(n_channels):
            if n > 0 and waited_s < self._rules.second_channel_s * n and n - 1 not in ongoing.given_up:
                break
            state = self._carriers[ongoing.call.recipient, n]
            if n in ongoing.given_up or state.sending is not None or self._clock.real_s() < state.next_try_s:
                continue
            state.sending = self._workers().submit(state.carrier.send, message)
            self._sends[state.sending] = (message.id, (ongoing.call.recipient, n))

    def _workers(self) -> ThreadPoolExecutor:
        if self._pool is None:
            self._pool = ThreadPoolExecutor(MOST_SENDS, thread_name_prefix="ThreadPoolExecutor-notify")
        return self._pool

    def _test(self, message: Message, n_done: int) -> None:
        """Try each channel of each recipient once, quiet hours or not, and keep what each answered.

        On a thread and with a store of its own: a carrier that hangs must not hold up a real call.
        """
        channels = [(who.name, carrier) for who in self._recipients for carrier in who.channels]
        try:
            with Store(self._store_path) as store:
                self._try_each(store, message, channels, n_done)
        except StoreError as error:
            log.error("message=%s state=failing reason=%s", message.id, error)

    def _try_each(self, store: Store, message: Message, channels: Sequence[tuple[str, Carrier]], n_done: int) -> None:
        for number, (name, carrier) in list(enumerate(channels, start=1))[n_done:]:
            call = Call(message.id, number, name, self._clock.now(), carrier=carrier.name, tries=1)
            try:
                carrier.send(message)
            except NotifyError as error:
                call = replace(call, detail=error.detail)
            except Exception as error:  # whatever a service's plugin does, the next one is tried
                log.exception("message=%s carrier=%s state=failing", message.id, carrier.name)
                call = replace(call, detail=type(error).__name__)
            else:
                call = replace(call, accepted_at=self._clock.now())
            log.info("message=%s carrier=%s answer=%s", message.id, carrier.name, call.detail)
            store.outbox.save_call(call, 1)
        store.outbox.close_message(message.id, DecisionReason.SAID)

    def _collect(self, store: Store) -> bool:
        """Record what became of what was sent; False when all of it still hangs, to be asked after the next time."""
        done, _ = wait(list(self._sends), timeout=POLL_S, return_when=FIRST_COMPLETED)
        for future in done:
            message_id, place = self._sends.pop(future)
            state = self._carriers[place]
            state.sending = None
            self._record(store, message_id, place, future.exception())
        return bool(done)

    def _record(self, store: Store, message_id: str, place: tuple[str, int], error: BaseException | None) -> None:
        state, ongoing = self._carriers[place], self._ongoing.get(message_id)
        if ongoing is not None and ongoing.call.recipient != place[0]:
            ongoing = None  # it has gone on to somebody else meanwhile
        name, detail = state.carrier.name, "ok"
        state.is_failing = error is not None
        if error is None:
            if state.failures:
                log.info("carrier=%s state=ok failures=%d", name, state.failures)
            state.failures, state.next_try_s = 0, float("-inf")
        else:
            detail = self._failed(message_id, place[1], state, ongoing, error)
        if ongoing is None:
            return
        ongoing.call = replace(ongoing.call, tries=ongoing.call.tries + 1, detail=f"{name}: {detail}")
        if error is None and ongoing.call.accepted_at is None:
            ongoing.call = replace(ongoing.call, accepted_at=self._clock.now(), carrier=name)
        store.outbox.save_call(ongoing.call, 1)

    def _failed(
        self, message_id: str, n: int, state: _CarrierState, ongoing: _OngoingCall | None, error: BaseException
    ) -> str:
        """A carrier did not take a message: wait longer, or give it up; returns what to write beside it."""
        name = state.carrier.name
        if not isinstance(error, NotifyError):  # a fault in a service's plugin must not end the thread that calls
            log.error("message=%s carrier=%s state=failing", message_id, name, exc_info=error)
            error = NotifyError("{name}: {detail} while sending", retry=True, name=name, detail=type(error).__name__)
        tries = 1
        if ongoing is not None:
            tries = ongoing.tries[n] = ongoing.tries.get(n, 0) + 1
        if not error.retry or tries >= MOST_TRIES:
            if ongoing is not None:
                ongoing.given_up.add(n)
            log.warning("message=%s carrier=%s state=given_up tries=%d reason=%s", message_id, name, tries, error)
            return f"given up {error.detail}".strip()
        state.failures += 1
        state.next_try_s = self._clock.real_s() + _wait_s(state.failures)
        if state.failures == 1:
            log.warning("carrier=%s state=failing reason=%s", name, error)
        return f"later {error.detail}".strip()


def _wait_s(failures: int) -> float:
    """Real seconds to wait after so many failures in a row: doubling, up to a limit."""
    return float(min(LONGEST_WAIT_S, FIRST_WAIT_S * 2.0 ** min(failures - 1, 16)))
