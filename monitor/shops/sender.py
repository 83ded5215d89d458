"""Sends what the store holds to the central store, beside the collector, and never in its way.

The store is the spool (:mod:`monitor.store.spool`): nothing is held here but the page at hand. A page counts as sent
once the server has answered; what was written but not noted as sent is written twice, which changes nothing.
"""

import logging
from collections.abc import Iterator, Sequence
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from monitor.alerts.troubles import CentralGetsNothing, CentralLate, CentralRefusesRows
from monitor.clock import Clock, wall_clock
from monitor.errors import CentralError, CentralKind, StoreError, StoreFault
from monitor.health.supervisor import Symptom
from monitor.settings.shops import Centre
from monitor.shops.points import Point, point_of
from monitor.shops.summary import ShopSummary, health_points, summary_of, summary_point
from monitor.store.background import StoreThread
from monitor.store.spool import STREAMS, Backlog, Page, SpoolRow
from monitor.store.store import Store

if TYPE_CHECKING:
    from monitor.shops.influx import Link

log = logging.getLogger(__name__)

PAGE_ROWS = 5000
TURN_S = 2.0  # judgement: so far the centre lags behind
FIRST_RETRY_S, LAST_RETRY_S = 1.0, 60.0
LOOK_S, SAY_S = 10.0, 60.0  # judgement: so soon a change of how the shop stands is said; and anyhow so often
LATE = timedelta(hours=6)  # judgement: a shop's line may be away for an afternoon
AWAY_S, SHUT_S = 6 * 3600.0, 60.0
MOST_TOLD = 3
ALL_ALIKE = 64
ITS_OWN = (CentralKind.POINTS, StoreFault.BAD_VALUE)
"""Faults of a summary itself: what is spooled must not wait for it."""

Refused = tuple[SpoolRow, str]
Sent = tuple[SpoolRow, Point]


def target_of(centre: Centre, site: str) -> str:
    """How the spool knows a central store: another address, bucket or site begins anew."""
    return f"{centre.url} {centre.bucket} {centre.readings_bucket} {site}"


class Sender(StoreThread):
    """Sends until stopped; reads itself how it fares through :meth:`troubles` and :attr:`waiting`.

    Parameters
    ----------
    store_path
        The store's file; the sender opens its own.
    site
        The name of this site, which tells its points from those of others.
    page_rows
        How many rows one request carries at most.
    """

    def __init__(
        self, store_path: Path, centre: Centre, token: str | None, site: str, clock: Clock, page_rows: int = PAGE_ROWS
    ) -> None:
        super().__init__("central", store_path)
        self._centre, self._token, self._site = centre, token, site
        self._clock, self._page_rows = clock, page_rows
        self._target = target_of(centre, site)
        self._fault: CentralError | None = None
        self._failures = 0
        self._said: ShopSummary | None = None
        self._next_look_s = self._next_say_s = 0.0
        self._backlog = Backlog(0, None, 0)
        self._parked: Sequence[tuple[str, int, str]] = ()

    @property
    def waiting(self) -> int:
        """How many rows were not sent at the last look."""
        return self._backlog.rows

    def troubles(self) -> Iterator[Symptom]:
        """What keeps things from the central store, for the supervisor."""
        fault, backlog = self._fault, self._backlog
        if fault is not None:
            trouble = CentralGetsNothing(self._centre.url, fault.kind, fault.detail, fault.status)
            yield Symptom(trouble, SHUT_S if fault.kind is CentralKind.SHUT else AWAY_S)
        elif backlog.oldest_at is not None and self._clock.now() - backlog.oldest_at > LATE:
            yield Symptom(CentralLate(backlog.rows), SHUT_S)
        if self._parked:
            examples = [f"{table} {number}: {detail}" for table, number, detail in self._parked[:MOST_TOLD]]
            yield Symptom(CentralRefusesRows(len(self._parked), tuple(examples)))

    def turns(self, store: Store) -> Iterator[float]:
        """Send what there is, page after page; at the start once more what was refused before."""
        from monitor.shops.influx import Link  # its library takes a second to load: here nobody waits for it

        is_retried = False
        with Link(self._centre, self._token) as link:
            while True:
                try:
                    for page in () if is_retried else store.spool.parked_pages(self._target, self._page_rows):
                        self._send_page(store, link, page, is_again=True)
                    is_retried = True
                    pages = [store.spool.unsent(self._target, stream, self._page_rows) for stream in STREAMS]
                    for page in filter(None, pages):
                        self._send_page(store, link, page)
                    self._say(store, link)
                except CentralError as error:
                    wait_s = self._fares(error)
                else:
                    self._fares(None)
                    wait_s = 0.0 if any(pages) else TURN_S
                self._backlog = store.spool.backlog(self._target)
                self._parked = store.spool.parked(self._target) if self._backlog.parked else ()
                yield wait_s

    def _send_page(self, store: Store, link: "Link", page: Page, *, is_again: bool = False) -> None:
        stream = page[0].stream
        parked: list[Refused] = []
        pairs: list[Sent] = []
        for row in page:
            try:
                pairs.append((row, point_of(self._site, row)))
            except (KeyError, TypeError, ValueError) as error:  # a row that is not what its table says
                parked.append((row, repr(error)))
        for n, (row, reason) in enumerate(_refused(link, stream, pairs) if pairs else (), 1):
            parked.append((row, reason))
            if n == ALL_ALIKE and row is pairs[n - 1][0] and not is_again:  # then it is not they that are wrong
                of: dict[str, Any] = {"detail": f"{stream}: {reason}", "measurement": stream, "why": reason}
                raise CentralError("{measurement}: none is taken; {why}", CentralKind.SHUT, **of)
        store.spool.mark_sent(self._target, page, parked, wall_clock())
        for row, reason in parked:
            log.error("central parked stream=%s row=%d reason=%r", stream, row.number, reason)

    def _say(self, store: Store, link: "Link") -> None:
        """Say how the shop stands, and how collector and nodes do: of now, so it is never spooled."""
        now_s = self._clock.real_s()
        if now_s < self._next_look_s:
            return
        self._next_look_s = now_s + LOOK_S
        try:
            summary, is_due = summary_of(store, self._clock.now()), now_s >= self._next_say_s
            if not is_due and summary.is_like(self._said):
                return
            link.write("shop", [summary_point(self._site, summary)])
            if is_due:
                link.write("health", health_points(self._site, store, self._backlog))
                self._next_say_s = now_s + SAY_S
            self._said = summary
        except (CentralError, StoreError) as error:
            if (error.kind if isinstance(error, CentralError) else error.fault) not in ITS_OWN:
                raise
            log.error("central said nothing reason=%s", error)

    def _fares(self, fault: CentralError | None) -> float:
        """Note how it fares; after a fault, how long to wait."""
        if fault is not None and str(fault) != str(self._fault):
            log.warning("central state=%s reason=%s", fault.kind.value, fault)
        elif fault is None and self._fault is not None:
            log.info("central state=mended")
        self._fault, self._failures = fault, 0 if fault is None else self._failures + 1
        return min(LAST_RETRY_S, FIRST_RETRY_S * 2.0 ** min(self._failures - 1, 9))


def _refused(link: "Link", measurement: str, pairs: Sequence[Sent]) -> Iterator[Refused]:
    """Write rows; those that cannot be taken come back with what was said of them, in their order: found by halving."""
    try:
        link.write(measurement, [point for _, point in pairs])
    except CentralError as error:
        if error.kind is not CentralKind.POINTS:
            raise
        if len(pairs) == 1:
            yield pairs[0][0], error.detail
            return
        middle = len(pairs) // 2
        yield from _refused(link, measurement, pairs[:middle])
        yield from _refused(link, measurement, pairs[middle:])
