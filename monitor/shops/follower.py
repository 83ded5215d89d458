"""Copies of the sites' stores, kept up to date from the central store alone: what screens show where many sites meet.

Senders leave a note of each delivery: which points came, and between which moments they lie. A follower reads the notes
it has not seen, and then all points of those spans; points that it knows already change nothing. A copy that is thrown
away is made anew from the first note on.
"""

import logging
import threading
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from monitor.errors import CentralError
from monitor.settings.shops import Centre
from monitor.shops.influx import Link
from monitor.shops.points import outlook_values, reading_values, row_values
from monitor.store.copies import copy_of
from monitor.store.spool import STANDING, WATCHED
from monitor.store.store import Store

log = logging.getLogger(__name__)

NOTES = 5000
PAGE_POINTS = 10_000
LOOK_S = 2.0  # judgement: a board is looked at as often
LAST_RETRY_S = 60.0
NEAR_NS = 60_000_000_000  # spans nearer than a minute are read as one

ORDER = (*WATCHED, *STANDING, "outlook", "reading")
"""Batches first: what belongs to them is held against them."""


@dataclass(frozen=True, slots=True)
class Span:
    """Moments between which points of one measurement lie, both included. [ns since 1970]"""

    from_ns: int
    to_ns: int


def spans_of(notes: Iterable[dict[str, Any]]) -> dict[str, list[Span]]:
    """Where to look, by measurement: the spans of the notes, those that touch put together."""
    found: dict[str, list[Span]] = {}
    for note in sorted(notes, key=lambda note: note["from_ns"]):
        spans = found.setdefault(note["measurement"], [])
        if spans and note["from_ns"] <= spans[-1].to_ns + NEAR_NS:
            spans[-1] = Span(spans[-1].from_ns, max(spans[-1].to_ns, note["to_ns"]))
        else:
            spans.append(Span(note["from_ns"], note["to_ns"]))
    return found


class Follower:
    """Reads what is new of every site into the copies of a data directory.

    Parameters
    ----------
    folder
        The data directory; the copies lie in its folder ``sites``.
    sites
        Whom to follow; None: every site there is.
    """

    def __init__(
        self,
        link: Link,
        centre: Centre,
        folder: Path,
        sites: Sequence[str] | None = None,
        page_points: int = PAGE_POINTS,
    ) -> None:
        self._link, self._centre = link, centre
        self._folder = folder
        self._sites = sites
        self._page_points = page_points

    def look(self) -> int:
        """Take in what is new; returns how many points were read. 0: nothing was new.

        Raises
        ------
        CentralError
            When the central store cannot be read; what was taken in until then stays.
        """
        sites = self._link.sites()
        return sum(self._look_at(site) for site in sites if self._sites is None or site in self._sites)

    def _look_at(self, site: str) -> int:
        n_read = 0
        with Store(copy_of(self._folder, site), as_copy=True) as store:
            while notes := list(
                self._link.rows(
                    self._centre.bucket,
                    f"SELECT \"measurement\", from_ns, to_ns FROM delivery WHERE site = '{site}' "
                    f"AND time > {store.copy.position_ns()} ORDER BY time LIMIT {NOTES}",
                )
            ):
                spans = spans_of(notes)
                for measurement in ORDER:
                    for span in spans.get(measurement, ()):
                        for points in self._pages(site, measurement, span):
                            _take(store, measurement, points)
                            n_read += len(points)
                store.copy.reach(notes[-1]["time"])
        return n_read

    def _pages(self, site: str, measurement: str, span: Span) -> Iterator[list[dict[str, Any]]]:
        """Every point of a site in a span, by time; the last moment of a page is read again with the next."""
        from_ns, most = span.from_ns, self._page_points
        while True:
            query = (
                f"SELECT * FROM \"{measurement}\" WHERE site = '{site}' AND time >= {from_ns} AND time <= {span.to_ns} "
                f"ORDER BY time LIMIT {most}"
            )
            points = list(self._link.rows(self._centre.bucket_of(measurement), query))
            if points:
                yield points
            if len(points) < most:
                return
            if points[-1]["time"] == from_ns:
                most *= 2  # more points of one moment than a page holds
            from_ns = points[-1]["time"]


def _take(store: Store, measurement: str, points: Sequence[dict[str, Any]]) -> None:
    """Put points into a copy; what is no row of ours is left out: anybody with a token may have written it."""
    found: list[tuple[dict[str, Any], int | None]] = []
    values_of = {"reading": reading_values, "outlook": outlook_values}.get(measurement, row_values)
    for point in points:
        try:
            found.append((values_of(point), point.get("begun_us")))
        except (AttributeError, KeyError, TypeError, ValueError):
            continue
    if measurement == "reading":
        store.copy.take_readings(values for values, _ in found)
        n_taken = len(found)
    elif measurement == "batch":
        n_taken = store.copy.take_batches(values for values, _ in found)
    else:
        n_taken = store.copy.take(measurement, found)
    if n_taken < len(points):
        log.info("copy=%s table=%s left_out=%d", store.path, measurement, len(points) - n_taken)


def follow(follower: Follower, stop: threading.Event) -> None:
    """Take in what is new until ``stop``; while the central store is away, look again less and less often."""
    wait_s, is_failing = LOOK_S, False
    while not stop.wait(wait_s if is_failing else 0.0):
        try:
            follower.look()
        except CentralError as error:
            if not is_failing:
                log.warning("follow state=%s reason=%s", error.kind.value, error)
            wait_s, is_failing = min(LAST_RETRY_S, 2.0 * wait_s), True
            continue
        if is_failing:
            log.info("follow state=mended")
        wait_s, is_failing = LOOK_S, False
        stop.wait(LOOK_S)
