"""Sends what the store holds to the central store, beside the collector, and never in its way.

The store is the spool (:mod:`monitor.store.spool`): nothing is held here but the page at hand. A page counts as sent
once the server has answered; what was written but not noted as sent is written twice, which changes nothing.
"""

import logging
from collections.abc import Iterator, Sequence
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.alerts.troubles import CentralGetsNothing, CentralLate, CentralRefusesRows
from monitor.clock import Clock, wall_clock
from monitor.errors import CentralError, CentralKind
from monitor.health.supervisor import Symptom
from monitor.settings.shops import Centre
from monitor.shops.points import Point, delivery_point, point_of
from monitor.store.background import StoreThread
from monitor.store.rows import to_us
from monitor.store.spool import STREAMS, Backlog, Page, SpoolRow
from monitor.store.store import Store

if TYPE_CHECKING:
    from monitor.shops.influx import Link

log = logging.getLogger(__name__)

PAGE_ROWS = 5000
TURN_S = 2.0  # judgement: so far the centre lags behind
FIRST_RETRY_S, LAST_RETRY_S = 1.0, 60.0
STANDING_S = 30.0
DENSE, GAP_NS = ("outlook", "reading"), 300_000_000_000
"""A page whose points leave out five minutes is told as two: readers look at all that lies in a span they are told."""
LATE = timedelta(hours=6)  # judgement: a shop's line may be away for an afternoon
AWAY_S, SHUT_S = 6 * 3600.0, 60.0
MOST_TOLD = 3
ALL_ALIKE = 64

Refused = list[tuple[SpoolRow, str]]
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
        self._clock = clock
        self._page_rows = page_rows
        self._target = target_of(centre, site)
        self._fault: CentralError | None = None
        self._retry_s = FIRST_RETRY_S
        self._told: dict[tuple[str, int], SpoolRow] = {}
        self._next_standing_s = 0.0
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
        """Send what there is, page after page."""
        from monitor.shops.influx import Link  # its library takes a second to load: here nobody waits for it

        store.spool.unpark(self._target)
        with Link(self._centre, self._token) as link:
            while True:
                try:
                    wait_s = 0.0 if self._send(store, link) else TURN_S
                    self._mended()
                except CentralError as error:
                    wait_s = self._failed(error)
                self._backlog = store.spool.backlog(self._target)
                self._parked = store.spool.parked(self._target) if self._backlog.parked else ()
                yield wait_s

    def _send(self, store: Store, link: "Link") -> bool:
        """Send one page of each stream; True when there may be more."""
        is_more = False
        for stream in STREAMS:
            page = store.spool.unsent(self._target, stream, self._page_rows)
            if page.rows:
                self._send_page(store, link, page)
                is_more = is_more or stream != "touched" or len(page.rows) == self._page_rows
        self._send_standing(store, link)
        return is_more

    def _send_page(self, store: Store, link: "Link", page: Page) -> None:
        refused: Refused = []
        clock_ns = store.spool.delivered_ns(self._target)
        for measurement in dict.fromkeys(row.table for row in page.rows):
            rows = [row for row in page.rows if row.table == measurement]
            clock_ns = self._deliver(link, measurement, rows, refused, clock_ns)
        store.spool.mark_sent(self._target, page, refused, wall_clock(), clock_ns)
        for row, reason in refused:
            log.error("central parked table=%s row=%d reason=%r", row.table, row.number, reason)

    def _send_standing(self, store: Store, link: "Link") -> None:
        """Nodes and counters of bad input, those that differ from what was sent last."""
        if self._clock.real_s() < self._next_standing_s:
            return
        rows = [row for row in store.spool.standing_rows() if self._told.get((row.table, row.number)) != row]
        if rows:
            self._send_page(store, link, Page("standing", 0, tuple(rows)))
            self._told |= {(row.table, row.number): row for row in rows}
        self._next_standing_s = self._clock.real_s() + STANDING_S

    def _deliver(
        self,
        link: "Link",
        measurement: str,
        rows: Sequence[SpoolRow],
        refused: list[tuple[SpoolRow, str]],
        clock_ns: int,
    ) -> int:
        """Write rows of one measurement, then tell readers of it; the time of the last delivery comes back."""
        pairs: list[Sent] = []
        for row in rows:
            try:
                pairs.append((row, point_of(self._site, row)))
            except (KeyError, TypeError, ValueError) as error:  # a row that is not what its table says
                refused.append((row, repr(error)))
        if not pairs:
            return clock_ns
        refused += _refused_of(link, measurement, pairs)
        times = sorted(point.time_ns for _, point in pairs)
        is_dense = measurement in DENSE
        begins = [0, *(k for k in range(1, len(times)) if is_dense and times[k] - times[k - 1] > GAP_NS)]
        notes = []
        for first, end in zip(begins, [*begins[1:], len(times)], strict=True):
            clock_ns = max(to_us(wall_clock()) * 1000, clock_ns + 1)
            span = (times[first], times[end - 1])
            notes.append(delivery_point(self._site, measurement, clock_ns, span, end - first))
        link.write("delivery", notes)
        return clock_ns

    def _failed(self, error: CentralError) -> float:
        if self._fault is None or str(self._fault) != str(error):
            log.warning("central state=%s reason=%s", error.kind.value, error)
        self._fault = error
        wait_s = self._retry_s
        self._retry_s = min(LAST_RETRY_S, 2.0 * self._retry_s)
        return wait_s

    def _mended(self) -> None:
        if self._fault is not None:
            log.info("central state=mended")
        self._fault, self._retry_s = None, FIRST_RETRY_S


def _refused_of(link: "Link", measurement: str, pairs: Sequence[Sent]) -> Refused:
    """Write rows; those that cannot be taken come back with what was said of them, the others are written all the same.

    They are found by halving.

    Raises
    ------
    CentralError
        When the first ``ALL_ALIKE`` are refused one by one: then it is not they that are wrong.
    """
    refused: Refused = []
    is_any_taken = False

    def write(some: Sequence[Sent]) -> None:
        nonlocal is_any_taken
        try:
            link.write(measurement, [point for _, point in some])
            is_any_taken = True
        except CentralError as error:
            if error.kind is not CentralKind.POINTS:
                raise
            if len(some) > 1:
                write(some[: len(some) // 2])
                write(some[len(some) // 2 :])
                return
            refused.append((some[0][0], error.detail))
            if len(refused) >= ALL_ALIKE and not is_any_taken:
                raise CentralError(
                    "{measurement}: none is taken; {why}",
                    CentralKind.SHUT,
                    detail=f"{measurement}: {error.detail}",
                    measurement=measurement,
                    why=error,
                ) from error

    write(pairs)
    return refused
