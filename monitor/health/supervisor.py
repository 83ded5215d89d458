"""Goes round what can be wrong with the monitor itself, and tells its keeper what lasts, past a store that may be down.

What goes to the baker about a dough lies in the store's outbox. That the store fails cannot lie there, so the
supervisor hands its few messages to the carriers itself, and again until one of them took it. A message's id is the
same for every try; after a restart a trouble that is still there is told once more. What the supervisor sees it also
notes in the trouble log, for the history of alerts; what people acknowledged or shelved there it does not repeat.
"""

import logging
import threading
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from monitor.clock import Clock
from monitor.errors import MonitorError
from monitor.health.trouble import Trouble
from monitor.health.trouble_log import TroubleBook
from monitor.translatable import Opening, Saying

log = logging.getLogger(__name__)

ROUND_S = 1.0
FIRST_RETRY_S, LAST_RETRY_S = 2.0, 300.0  # judgement: as for messages about doughs
AGAIN_S = 12 * 3600.0  # judgement: what nobody mended in half a day is told once more


@dataclass(frozen=True, slots=True)
class Notice:
    """What is told, in English: that something is wrong, or that it is right again; whoever hands it on words it."""

    id: str
    title: str
    text: str
    at: datetime


HealthCheck = Callable[[], Iterable[Trouble]]
Tell = Callable[[Notice], bool]
"""Hands a notice to whoever can be reached; True when at least one took it."""


@dataclass(slots=True)
class _Case:
    """One trouble from the moment it is seen to the moment it is over."""

    trouble: Trouble
    seen_at: datetime
    seen_s: float
    n: int = 0  # how often it was told
    told_s: float = 0.0
    is_over: bool = False
    is_noted: bool = False  # stands in the book as being so
    failures: int = 0
    next_try_s: float = 0.0


class Supervisor:
    """Asks every lookout once a second, on a thread of its own.

    Parameters
    ----------
    lookouts
        Each says what is wrong now; one that fails is itself a trouble.
    book
        Where it is noted for the history of alerts, and where it says what people know of.
    """

    def __init__(
        self, lookouts: Sequence[HealthCheck], tell: Tell, clock: Clock, book: TroubleBook | None = None
    ) -> None:
        self._lookouts = lookouts
        self._tell = tell
        self._clock = clock
        self._book = TroubleBook() if book is None else book
        self._cases: dict[str, _Case] = {}
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="supervisor", daemon=True)

    def start(self) -> None:
        """Begin to go round."""
        self._thread.start()

    def stop(self) -> None:
        """Go home."""
        self._stop.set()
        self._thread.join(10.0)

    @property
    def troubles(self) -> list[Trouble]:
        """What is wrong now and has lasted."""
        return [case.trouble for case in list(self._cases.values()) if case.n and not case.is_over]

    def _run(self) -> None:
        while not self._stop.is_set():
            self.go_round()
            self._stop.wait(ROUND_S)

    def go_round(self) -> None:
        """Look everywhere once, and tell what is to be told."""
        now_s = self._clock.real_s()
        found = {trouble.key: trouble for look in self._lookouts for trouble in self._seen_by(look)}
        for key, trouble in found.items():
            case = self._cases.setdefault(key, _Case(trouble, self._clock.now(), now_s))
            case.trouble, case.is_over = trouble, False
        for key, case in list(self._cases.items()):
            if key not in found:
                case.is_over = True
            if case.is_noted is case.is_over and (case.is_over or now_s - case.seen_s >= case.trouble.after_s):
                case.is_noted = not case.is_over
                self._book.note(case.trouble, self._clock.now(), is_over=case.is_over)
            if self._is_to_be_told(case, now_s):
                self._say(case, now_s)
            elif case.is_over and not case.n:
                del self._cases[key]  # it came and went

    def _seen_by(self, look: HealthCheck) -> Iterable[Trouble]:
        try:
            return list(look())
        except (MonitorError, OSError) as error:
            return [
                Trouble(
                    f"lookout {error}",
                    Saying("the monitor cannot look after itself: {why}", why=error),
                    Saying("see its log"),
                )
            ]

    def _is_to_be_told(self, case: _Case, now_s: float) -> bool:
        if now_s < case.next_try_s:
            return False
        if case.is_over:
            return case.n > 0
        if case.n:
            return now_s - case.told_s >= AGAIN_S and case.trouble.key not in self._book.known
        return now_s - case.seen_s >= case.trouble.after_s

    def _say(self, case: _Case, now_s: float) -> None:
        trouble = case.trouble
        at = self._clock.now()
        since = f"{trouble.key} {case.seen_at:%Y%m%dT%H%M%S}"
        if case.is_over:
            notice = Notice(
                f"{since} over", Saying("Monitor: mended"), Saying("No longer so: {what}.", what=trouble.what), at
            )
        else:
            notice = Notice(
                f"{since} {case.n + 1}",
                Saying("Monitor needs you"),
                Saying("{what}. What to do: {mend}.", what=Opening(trouble.what), mend=trouble.mend),
                at,
            )
        if not self._tell(notice):
            case.failures += 1
            case.next_try_s = now_s + min(LAST_RETRY_S, FIRST_RETRY_S * 2.0 ** min(case.failures - 1, 16))
            return
        log.warning("trouble=%r state=%s what=%r", trouble.key, "over" if case.is_over else "told", trouble.what)
        case.failures, case.next_try_s = 0, 0.0
        if case.is_over:
            del self._cases[trouble.key]
        else:
            case.n, case.told_s = case.n + 1, now_s
