"""Calls people for the messages of the outbox: whom, over which channel, and again until it is answered.

The outbox lies in the store, so a message survives a crash. A call is written down before it is sent and closed after
a carrier took it: one that was sent but not yet closed is sent again. Twice is better than never, and both carry the
same id. What must be decided is decided by :mod:`monitor.alerts.calls`; here it is sent. A carrier that fails or hangs
waits longer and longer, alone, on a thread of its own: the others go on.
"""

import logging
import threading
from collections.abc import Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, field, replace
from datetime import timedelta, tzinfo
from pathlib import Path

from monitor.alerts.calls import Call, CallRules, Next, Told, decide
from monitor.alerts.dough import Message
from monitor.clock import Clock
from monitor.errors import NotifyError, StoreError
from monitor.notify.carriers import Carrier
from monitor.store.store import Store

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
class _Lane:
    """One carrier and how it fares."""

    carrier: Carrier
    failures: int = 0
    next_try_s: float = float("-inf")
    is_failing: bool = False
    sending: "Future[None] | None" = None


@dataclass(slots=True)
class _Going:
    """A call that has begun: since when, and what each channel has come to. Times are of the monotonic clock."""

    call: Call
    began_s: float
    tries: dict[int, int] = field(default_factory=dict)
    given_up: set[int] = field(default_factory=set)


class Notifier:
    """Drains the outbox on its own thread, with its own connection to the store.

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
        self._store_path = store_path
        self._clock = clock
        self._zone = zone
        self._rules = CallRules() if rules is None else rules
        self._recipients = tuple(recipients)
        self._screens = tuple(screens)
        self._lanes = {(who.name, n): _Lane(one) for who in recipients for n, one in enumerate(who.channels)}
        self._going: dict[str, _Going] = {}
        self._sends: dict[Future[None], tuple[str, tuple[str, int]]] = {}
        self._pool: ThreadPoolExecutor | None = None
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="notify", daemon=True)

    def start(self) -> None:
        """Begin to send."""
        self._thread.start()

    def stop(self, timeout_s: float = 10.0) -> None:
        """Send what is due now, then end; what is not sent by then waits for the next start."""
        self._stop.set()
        self._thread.join(timeout_s)

    @property
    def failing(self) -> tuple[str, ...]:
        """Names of the carriers that did not take what they were last given."""
        return tuple(sorted({lane.carrier.name for lane in self._lanes.values() if lane.is_failing}))

    def _run(self) -> None:
        failures = 0
        while not self._stop.is_set():
            try:
                with Store(self._store_path) as store:
                    while not self._stop.is_set():
                        self.drain(store)
                        failures = 0
                        self._stop.wait(POLL_S)
                    self.drain(store)
            except StoreError as error:
                failures += 1
                if failures == 1:
                    log.error("notify state=failing reason=%s", error)
                self._stop.wait(_wait_s(failures))
        self._end_sending()

    def _end_sending(self) -> None:
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)
            self._pool = None

    def drain(self, store: Store) -> None:
        """Do what is due for each open message, and record what came of what was sent before."""
        open_now = store.open_messages()
        for message, alert, calls in open_now:
            if all(call.number > 0 for call in calls):
                self._show(store, message)
            self._decide(store, Told(message, alert, [call for call in calls if call.number > 0]))
        for message_id in self._going.keys() - {message.id for message, _, _ in open_now}:
            del self._going[message_id]
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
        is_told = bool(self._screens) and not self._recipients
        store.save_call(Call(message.id, 0, TERMINAL, now, now if is_told else None, TERMINAL))

    def _decide(self, store: Store, told: Told) -> None:
        message = told.message
        going = self._going.get(message.id)
        if going is None and told.calls:
            going = self._going[message.id] = self._resumed(told.calls[-1])
        if going is not None:
            names = [who.name for who in self._recipients]
            channels = self._channels(going.call.recipient) if going.call.recipient in names else ()
            told = replace(
                told,
                waited_min=(self._clock.real_s() - going.began_s) / 60.0,
                is_given_up=len(going.given_up) >= len(channels),
            )
        decision = decide(self._rules, told, len(self._recipients), self._clock.now(), self._zone)
        if decision.do is Next.CLOSE:
            store.close_message(message.id, decision.why)
            self._going.pop(message.id, None)
            log.info("message=%s state=closed reason=%r calls=%d", message.id, decision.why, len(told.calls))
        elif decision.do is Next.CALL:
            who = self._recipients[decision.recipient]
            call = Call(message.id, len(told.calls) + 1, who.name, self._clock.now())
            store.save_call(call)  # before it is sent: after a crash it goes on as this call
            self._going[message.id] = _Going(call, self._clock.real_s())
            if call.number > 1:
                log.info("message=%s call=%d reason=%r", message.id, call.number, decision.why)

    def _resumed(self, call: Call) -> _Going:
        """A call of an earlier run. How long ago it was is only as good as two clocks: never more than one wait."""
        ago_s = (self._clock.now() - call.at) / timedelta(seconds=1)
        return _Going(call, self._clock.real_s() - min(max(ago_s, 0.0), self._rules.repeat_min * 60.0))

    def _channels(self, name: str) -> tuple[Carrier, ...]:
        return next(who.channels for who in self._recipients if who.name == name)

    def _send_all(self, messages: Mapping[str, Message]) -> bool:
        """Hand out what can be handed out now; True when anything is on its way."""
        # The least tried first, so that one message a carrier chokes on does not hold up the others.
        for message_id, going in sorted(self._going.items(), key=lambda each: sum(each[1].tries.values())):
            self._send_on(messages[message_id], going)
        return bool(self._sends)

    def _send_on(self, message: Message, going: _Going) -> None:
        """Hand a call to each channel whose turn it is and which is free."""
        if going.call.accepted_at is not None:
            return
        waited_s = self._clock.real_s() - going.began_s
        n_channels = sum(1 for name, _ in self._lanes if name == going.call.recipient)
        for n in range(n_channels):
            if n > 0 and waited_s < self._rules.second_channel_s * n and n - 1 not in going.given_up:
                break
            lane = self._lanes[going.call.recipient, n]
            if n in going.given_up or lane.sending is not None or self._clock.real_s() < lane.next_try_s:
                continue
            if self._pool is None:
                self._pool = ThreadPoolExecutor(MOST_SENDS, thread_name_prefix="ThreadPoolExecutor-notify")
            lane.sending = self._pool.submit(lane.carrier.send, message)
            self._sends[lane.sending] = (message.id, (going.call.recipient, n))

    def _collect(self, store: Store) -> bool:
        """Record what became of what was sent; False when all of it still hangs, to be asked after the next time."""
        done, _ = wait(list(self._sends), timeout=POLL_S, return_when=FIRST_COMPLETED)
        for future in done:
            message_id, place = self._sends.pop(future)
            lane = self._lanes[place]
            lane.sending = None
            self._came_of(store, message_id, place, future.exception())
        return bool(done)

    def _came_of(self, store: Store, message_id: str, place: tuple[str, int], error: BaseException | None) -> None:
        lane, going = self._lanes[place], self._going.get(message_id)
        if going is not None and going.call.recipient != place[0]:
            going = None  # it has gone on to somebody else meanwhile
        name, detail = lane.carrier.name, "ok"
        lane.is_failing = error is not None
        if error is None:
            if lane.failures:
                log.info("carrier=%s state=ok failures=%d", name, lane.failures)
            lane.failures, lane.next_try_s = 0, float("-inf")
        else:
            detail = self._failed(message_id, place[1], lane, going, error)
        if going is None:
            return
        going.call = replace(going.call, tries=going.call.tries + 1, detail=f"{name}: {detail}")
        if error is None and going.call.accepted_at is None:
            going.call = replace(going.call, accepted_at=self._clock.now(), carrier=name)
        store.save_call(going.call, 1)

    def _failed(self, message_id: str, n: int, lane: _Lane, going: _Going | None, error: BaseException) -> str:
        """A carrier did not take a message: wait longer, or give it up; returns what to write beside it."""
        name = lane.carrier.name
        if not isinstance(error, NotifyError):  # a fault in a service's plugin must not end the thread that calls
            log.error("message=%s carrier=%s state=failing", message_id, name, exc_info=error)
            error = NotifyError("{name}: {detail} while sending", retry=True, name=name, detail=type(error).__name__)
        tries = 1
        if going is not None:
            tries = going.tries[n] = going.tries.get(n, 0) + 1
        if not error.retry or tries >= MOST_TRIES:
            if going is not None:
                going.given_up.add(n)
            log.warning("message=%s carrier=%s state=given_up tries=%d reason=%s", message_id, name, tries, error)
            return f"given up, {error}"
        lane.failures += 1
        lane.next_try_s = self._clock.real_s() + _wait_s(lane.failures)
        if lane.failures == 1:
            log.warning("carrier=%s state=failing reason=%s", name, error)
        return f"later, {error}"


def _wait_s(failures: int) -> float:
    """Real seconds to wait after so many failures in a row: doubling, up to a limit."""
    return float(min(LONGEST_WAIT_S, FIRST_WAIT_S * 2.0 ** min(failures - 1, 16)))
