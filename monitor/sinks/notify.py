"""Hands the messages of the outbox to whoever carries them: the terminal, a phone push, mail, a chat.

The outbox lies in the store, so a message survives a crash. One that was sent but not yet recorded is sent again: twice
is better than never, and both carry the same id. A carrier that fails waits longer and longer, alone: the others go on.
"""

import logging
import re
import threading
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import tzinfo
from pathlib import Path
from typing import Protocol, TextIO
from urllib.parse import urlsplit

import apprise

from monitor.bakery.alerts import AlertKind, Message
from monitor.bakery.wording import clock_text, printable
from monitor.clock import Clock
from monitor.errors import ConfigError, NotifyError, StoreError
from monitor.sinks import addresses
from monitor.sinks.store import Store

log = logging.getLogger(__name__)
# What apprise logs holds addresses. It goes nowhere but into its own results, whose lines hold the answer's code.
_apprise_log = logging.getLogger("apprise")
_apprise_log.setLevel(logging.WARNING)
_apprise_log.propagate = False
_apprise_log.addHandler(logging.NullHandler())

FIRST_WAIT_S = 2.0  # judgement
LONGEST_WAIT_S = 300.0  # judgement
MOST_TRIES = 20  # judgement: with the waits above, somewhat more than an hour
POLL_S = 0.5  # judgement: what a baker does not notice
RETRY_CODES = (408, 425, 429)  # of the 4xx, those that say "later" (RFC 9110 15.5.9, RFC 8470, RFC 6585)
_TROUBLE = (
    AlertKind.PAST_PEAK,
    AlertKind.AIR_TOO_WARM,
    AlertKind.AIR_TOO_COLD,
    AlertKind.AIR_TOO_DRY,
    AlertKind.SENSOR_SILENT,
)


class Carrier(Protocol):
    """A way to reach someone."""

    @property
    def name(self) -> str:
        """What the log and the store call it; holds no address and no secret."""

    def send(self, message: Message) -> None:
        """Hand one message over.

        Raises
        ------
        NotifyError
            When it could not be; ``retry`` says whether later can be better.
        """


class TerminalCarrier:
    """Prints each message as one line."""

    name = "terminal"

    def __init__(self, stream: TextIO, zone: tzinfo) -> None:
        self._stream = stream
        self._zone = zone

    def send(self, message: Message) -> None:
        line = printable(f"{clock_text(message.created_at, self._zone)}  {message.title}. {message.text}")
        try:
            print(line, file=self._stream, flush=True)
        except (OSError, ValueError) as error:  # a closed pipe or a closed stream
            raise NotifyError("the terminal is gone", retry=False) from error


class AppriseCarrier:
    """Sends to one address that apprise knows: a push service, mail, chat, a web hook.

    Parameters
    ----------
    url
        The address; it may hold a password, so it is neither logged nor kept readable.
    number
        Its place in the configuration, to name it by.
    may_reach
        Hosts inside this machine or network that messages may go to all the same.

    Raises
    ------
    ConfigError
        When apprise cannot make anything of it, or messages must not go there.
    """

    def __init__(self, url: str, number: int = 1, may_reach: Collection[str] = ()) -> None:
        what = f"notify_urls, entry {number} ({urlsplit(url).scheme or 'no scheme'})"
        scheme = addresses.check_scheme(url, what)
        self.name = f"{scheme}#{number}"
        self._may_reach = may_reach
        self._target = apprise.Apprise()
        if not self._target.add(url):
            raise ConfigError(
                f"{what}: apprise does not know such an address; "
                "see the list of services in apprise's manual and check every part of it"
            )
        if len(self._target) != 1:
            raise ConfigError(f"{what}: holds several addresses; write each apart")
        service = self._target[0]
        service.redirects = False  # an answer must not lead to where the address itself may not
        self._host = _own_host(service) if addresses.has_own_host(scheme) else ""
        addresses.check_written_host(self._host, may_reach, what)

    def send(self, message: Message) -> None:
        if self._host:
            addresses.check_reachable(self._host, self._may_reach, self.name)
        kind = apprise.NotifyType.WARNING if message.kind in _TROUBLE else apprise.NotifyType.INFO
        try:
            result = self._target.notify(
                title=message.title, body=f"{message.text}\n[{message.id}]", notify_type=kind, body_format="text"
            )
        except (TypeError, ValueError, OSError) as error:
            raise NotifyError(f"{self.name}: {type(error).__name__} while sending", retry=True) from error
        if result:
            return
        codes = [
            int(found.group(1))
            for target in result.results
            for entry in target.logs()
            if (found := re.search(r"\berror=(\d{3})\b", entry.message))
        ]
        is_refused = any(400 <= code < 500 and code not in RETRY_CODES for code in codes)
        why = f"it answered {codes[-1]}" if codes else "no answer, or it refused"
        raise NotifyError(f"{self.name}: {why}", retry=not is_refused)


def _own_host(service: apprise.NotifyBase) -> str:
    """The machine that a service's address leads to; empty where apprise has a host of its own for it."""
    return str(getattr(service, "smtp_host", "") or service.host or "")


def apprise_carriers(urls: Iterable[str], may_reach: Collection[str] = ()) -> list[AppriseCarrier]:
    """One carrier for each address, so that one that fails does not make the others repeat themselves."""
    return [AppriseCarrier(url, number, may_reach) for number, url in enumerate(urls, start=1)]


@dataclass(slots=True)
class _Lane:
    """One carrier, how it fares, and what it has done with each message that is still due."""

    carrier: Carrier
    failures: int = 0
    next_try_s: float = float("-inf")
    tries: dict[str, int] = field(default_factory=dict)
    is_done: dict[str, bool] = field(default_factory=dict)  # True: handed over, False: given up


class Notifier:
    """Drains the outbox on its own thread, with its own connection to the store.

    Parameters
    ----------
    store_path
        The store's file.
    clock
        Outbox times are its dough time; waiting between tries is real time.
    """

    def __init__(self, store_path: Path, carriers: Sequence[Carrier], clock: Clock) -> None:
        self._store_path = store_path
        self._clock = clock
        self._lanes = [_Lane(carrier) for carrier in carriers]
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="notify", daemon=True)

    def start(self) -> None:
        """Begin to send."""
        self._thread.start()

    def stop(self, timeout_s: float = 10.0) -> None:
        """Send what is due now, then end; what is not sent by then waits for the next start."""
        self._stop.set()
        self._thread.join(timeout_s)

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

    def drain(self, store: Store) -> None:
        """Try each due message once with each carrier that is not waiting, and record what came of it."""
        due = store.due_messages(self._clock.now())
        touched: dict[str, list[str]] = {}
        for lane in self._lanes:
            # The least tried first, so that one message a carrier chokes on does not hold up the others.
            for message in sorted(due, key=lambda message: lane.tries.get(message.id, 0)):
                if message.id not in lane.is_done and self._clock.real_s() >= lane.next_try_s:
                    touched.setdefault(message.id, []).append(self._send(lane, message))
        for message in due:
            if message.id in touched or not self._lanes:
                self._record(store, message, "; ".join(touched.get(message.id, ["no carrier"])))

    def _send(self, lane: _Lane, message: Message) -> str:
        """Try one message with one carrier; returns what to write beside it."""
        name = lane.carrier.name
        try:
            lane.carrier.send(message)
        except NotifyError as error:
            tries = lane.tries[message.id] = lane.tries.get(message.id, 0) + 1
            if not error.retry or tries >= MOST_TRIES:
                lane.is_done[message.id] = False
                log.warning("message=%s carrier=%s state=given_up tries=%d reason=%s", message.id, name, tries, error)
                return f"{name}: given up, {error}"
            lane.failures += 1
            lane.next_try_s = self._clock.real_s() + _wait_s(lane.failures)
            if lane.failures == 1:
                log.warning("carrier=%s state=failing reason=%s", name, error)
            return f"{name}: later, {error}"
        lane.is_done[message.id] = True
        if lane.failures:
            log.info("carrier=%s state=ok failures=%d", name, lane.failures)
        lane.failures, lane.next_try_s = 0, float("-inf")
        return f"{name}: ok"

    def _record(self, store: Store, message: Message, detail: str) -> None:
        now = self._clock.now()
        if any(message.id not in lane.is_done for lane in self._lanes):
            # Due again at once by the store; each carrier's own wait, in real time, says when it is tried.
            store.record_delivery(message.id, now, False, detail, retry_at=now)
            return
        is_delivered = any(lane.is_done[message.id] for lane in self._lanes) or not self._lanes
        store.record_delivery(message.id, now, is_delivered, detail)
        for lane in self._lanes:
            lane.is_done.pop(message.id, None)
            lane.tries.pop(message.id, None)


def _wait_s(failures: int) -> float:
    """Real seconds to wait after so many failures in a row: doubling, up to a limit."""
    return float(min(LONGEST_WAIT_S, FIRST_WAIT_S * 2.0 ** min(failures - 1, 16)))
