"""Goes round what can be wrong with the monitor itself, and tells its keeper what lasts, past a store that may be down.

What goes to the baker about a dough lies in the store's outbox. That the store fails cannot lie there, so the
supervisor hands its few messages to the carriers itself, and again until one of them took it. A message's id is the
same for every try; after a restart a trouble that is still there is told once more. What the supervisor sees it also
notes in the trouble log, for the history of alerts; what people acknowledged or shelved there it does not repeat.
"""

import logging
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from monitor.alerts.troubles import CheckFails, Trouble, key_of
from monitor.clock import Clock
from monitor.errors import MonitorError
from monitor.health.trouble_log import TroubleLog
from monitor.worker import Worker

log = logging.getLogger(__name__)

ROUND_S = 1.0
FIRST_RETRY_S, LAST_RETRY_S = 2.0, 300.0  # judgement: as for messages about doughs
AGAIN_S = 12 * 3600.0  # judgement: what nobody mended in half a day is told once more


@dataclass(frozen=True, slots=True)
class Symptom:
    """A trouble that a health check sees now.

    Attributes
    ----------
    after_s
        How long it must last before it is told. [s]
    is_unknown
        Nobody knows any more whether it is so: what was told of it ends, without a word.
    """

    trouble: Trouble
    after_s: float = 0.0
    is_unknown: bool = False


@dataclass(frozen=True, slots=True)
class Notice:
    """What the keeper is to be told: that something is wrong, or that it is right again. Whoever hands it on words it.

    Attributes
    ----------
    id
        The same for every try.
    """

    id: str
    trouble: Trouble
    is_over: bool
    at: datetime


HealthCheck = Callable[[], Iterable[Symptom]]
Notify = Callable[[Notice], bool]
"""Hands a notice to whoever can be reached; True when at least one took it."""


@dataclass(slots=True)
class _Case:
    """One trouble from the moment it is seen to the moment it is over."""

    symptom: Symptom
    seen_at: datetime
    seen_s: float
    n: int = 0  # how often it was told
    notified_s: float = 0.0
    is_over: bool = False
    is_noted: bool = False  # stands in the log as being so
    failures: int = 0
    next_try_s: float = 0.0


class Supervisor(Worker):
    """Makes every health check once a second, on a thread of its own.

    Parameters
    ----------
    checks
        Each says what is wrong now; one that fails is itself a trouble.
    notify
        Tells the keeper.
    trouble_log
        Where it is noted for the history of alerts, and where it says what people know of.
    """

    def __init__(
        self, checks: Sequence[HealthCheck], notify: Notify, clock: Clock, trouble_log: TroubleLog | None = None
    ) -> None:
        super().__init__("supervisor")
        self._checks = checks
        self._notify = notify
        self._clock = clock
        self._log = TroubleLog() if trouble_log is None else trouble_log
        self._cases: dict[str, _Case] = {}

    @property
    def troubles(self) -> list[Trouble]:
        """What is wrong now and has lasted."""
        return [case.symptom.trouble for case in list(self._cases.values()) if case.n and not case.is_over]

    def _run(self) -> None:
        while not self._stopping.is_set():
            self.go_round()
            self._stopping.wait(ROUND_S)

    def go_round(self) -> None:
        """Look everywhere once, and tell what is to be told."""
        now_s = self._clock.real_s()
        found = {key_of(symptom.trouble): symptom for check in self._checks for symptom in self._seen_by(check)}
        for key, symptom in found.items():
            if symptom.is_unknown:
                self._forget(key)
                continue
            case = self._cases.setdefault(key, _Case(symptom, self._clock.now(), now_s))
            case.symptom, case.is_over = symptom, False
        for key, case in list(self._cases.items()):
            if key not in found:
                case.is_over = True
            if case.is_noted is case.is_over and (case.is_over or now_s - case.seen_s >= case.symptom.after_s):
                case.is_noted = not case.is_over
                self._log.note(case.symptom.trouble, self._clock.now(), is_over=case.is_over)
            if self._is_to_be_told(case, now_s):
                self._tell(case, now_s)
            elif case.is_over and not case.n:
                del self._cases[key]  # it came and went

    def _forget(self, key: str) -> None:
        case = self._cases.pop(key, None)
        if case is not None and case.is_noted:
            self._log.note(case.symptom.trouble, self._clock.now(), is_over=True)

    def _seen_by(self, check: HealthCheck) -> Iterable[Symptom]:
        try:
            return list(check())
        except (MonitorError, OSError) as error:
            detail = error.strerror or "" if isinstance(error, OSError) else type(error).__name__
            if f"lookout {detail}" not in self._cases:
                log.warning("health check state=failing reason=%s", error)
            return [Symptom(CheckFails(detail))]

    def _is_to_be_told(self, case: _Case, now_s: float) -> bool:
        if now_s < case.next_try_s:
            return False
        if case.is_over:
            return case.n > 0
        if case.n:
            return now_s - case.notified_s >= AGAIN_S and key_of(case.symptom.trouble) not in self._log.known
        return now_s - case.seen_s >= case.symptom.after_s

    def _tell(self, case: _Case, now_s: float) -> None:
        trouble = case.symptom.trouble
        key = key_of(trouble)
        number = "over" if case.is_over else case.n + 1
        notice = Notice(f"{key} {case.seen_at:%Y%m%dT%H%M%S} {number}", trouble, case.is_over, self._clock.now())
        if not self._notify(notice):
            case.failures += 1
            case.next_try_s = now_s + min(LAST_RETRY_S, FIRST_RETRY_S * 2.0 ** min(case.failures - 1, 16))
            return
        log.warning("trouble=%r state=%s facts=%r", key, "over" if case.is_over else "told", trouble)
        case.failures, case.next_try_s = 0, 0.0
        if case.is_over:
            del self._cases[key]
        else:
            case.n, case.notified_s = case.n + 1, now_s
