"""The clock strip: one batch on the hours that all batches share.

Dough-coloured while it has risen; a hatched block where it will be ready (5 to 95 %) with a firm mark at the middle;
a dashed tail for as long as it stays good; a rule at now. Doubt is the width of the block: no number needed.

All places across are percentages of the width, so the strip stretches with the page while its letters keep their size.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from dashboard.drawing.markup import elastic_drawing, element, text
from dashboard.drawing.palette import FONT, Palette
from dashboard.drawing.time_axis import round_moments
from monitor.dough.outlook import Moments, Outlook
from monitor.recipe.batch import Batch
from monitor.wording.reader import Reader
from monitor.wording.times import dial_text

HEIGHT_PX = 66
_TOP_PX, _BAR_PX, _FLOOR_PX = 4, 16, 44
MAX_LABELS = 10  # so that they stand clear of each other
# On a phone every other label goes; a picture's own style sheet knows the width it is shown at.
_NARROW = "<style>@media (max-width: 440px) { .other { display: none } }</style>"
STEPS_MIN = (10, 15, 30, 60, 120, 180, 240, 360, 720)
LONGEST_PAST = timedelta(hours=6)  # judgement: what a baker still thinks of as this morning
LONGEST_AHEAD = timedelta(hours=10)  # judgement: one shift; what lies beyond is an arrow at the edge
SHORTEST_AHEAD = timedelta(minutes=30)
HEARD_GAP = timedelta(minutes=5)  # judgement: ten missed readings at one each half minute


@dataclass(frozen=True, slots=True)
class Hours:
    """The stretch of clock that all strips of a board share; aware UTC datetimes."""

    start: datetime
    end: datetime

    def share(self, at: datetime) -> float:
        """Where a moment stands across the strip, 0 to 100 inside it. [%]"""
        return 100.0 * ((at - self.start) / (self.end - self.start))

    def holds(self, at: datetime) -> bool:
        """True when the moment is on the strip."""
        return self.start <= at <= self.end


def good_until(batch: Batch, outlook: Outlook) -> datetime | None:
    """How long the dough stays good: for a target rise until its peak; None when that is not known, or no tail is due.

    A dough that waits for its peak has no tail: its block is the peak (judgement).
    """
    if batch.target.is_peak or outlook.ready.p50 is None or outlook.peak.p50 is None:
        return None
    return outlook.peak.p50 if outlook.peak.p50 > outlook.ready.p50 else None


def shared_hours(rows: Iterable[tuple[Batch, Outlook | None]], now: datetime) -> Hours:
    """The hours that show every running batch from its start until it is no longer good, within a shift of now."""
    begins, ends = [now - timedelta(minutes=30)], [now + SHORTEST_AHEAD]
    for batch, outlook in rows:
        begins.append(batch.started_at)
        if outlook is not None:
            moments = (outlook.ready.p50, outlook.ready.p95, good_until(batch, outlook))
            ends += [at + timedelta(minutes=5) for at in moments if at is not None]
    start = max(min(begins), now - LONGEST_PAST)
    return Hours(start, max(now + SHORTEST_AHEAD, min(max(ends), now + LONGEST_AHEAD)))


def ticks(hours: Hours, reader: Reader) -> list[tuple[datetime, str]]:
    """Round moments of the baker's clock on the strip, with their words: at most ``MAX_LABELS``."""
    length = hours.end - hours.start
    step_min = next(
        (step for step in STEPS_MIN if length <= step * (MAX_LABELS - 1) * timedelta(minutes=1)), STEPS_MIN[-1]
    )
    moments = round_moments(hours.start, hours.end, step_min, reader.zone)
    return [(at, dial_text(at.astimezone(reader.zone), reader)) for at in moments]


def strip_svg(
    batch: Batch,
    outlook: Outlook | None,
    hours: Hours,
    now: datetime,
    reader: Reader,
    palette: Palette,
    *,
    stale_since: datetime | None = None,
) -> str:
    """The strip of one batch, as an SVG document that takes the width of what it is put in."""
    parts = [_grid(hours, reader, palette)]
    parts.append(_risen(batch, hours, now, palette, stale_since))
    if outlook is not None:
        parts.append(_ready(outlook.ready, hours, palette, is_stale=stale_since is not None))
        tail_end = good_until(batch, outlook)
        tail_start = outlook.ready.p95
        if tail_end is not None and tail_start is not None and tail_end > tail_start:
            parts.append(_tail(tail_start, tail_end, hours, palette))
    x = _pct(hours.share(now))
    parts.append(element("line", x1=x, x2=x, y1=0, y2=_FLOOR_PX + 4, stroke=palette.ink, stroke_width=2.5))
    return elastic_drawing(_hatch(palette) + "".join(parts), HEIGHT_PX)


def _pct(share: float) -> str:
    return f"{min(max(share, 0.0), 100.0):.2f}%"


def _span(start: datetime, end: datetime, hours: Hours) -> dict[str, str]:
    """``x`` and ``width`` of a stretch of time, cut to the strip."""
    left = min(max(hours.share(start), 0.0), 100.0)
    right = min(max(hours.share(end), 0.0), 100.0)
    return {"x": f"{left:.2f}%", "width": f"{max(0.0, right - left):.2f}%"}


def _hatch(palette: Palette) -> str:
    line = element("path", d="M-2 2L2 -2M0 8L8 0M6 10L10 6", stroke=palette.crust, stroke_width=1.6)
    ground = element("rect", width=8, height=8, fill=palette.dough)
    pattern = element("pattern", ground + line, id="hatch", width=8, height=8, patternUnits="userSpaceOnUse")
    return _NARROW + element("defs", pattern)


def _grid(hours: Hours, reader: Reader, palette: Palette) -> str:
    parts = []
    for place, (at, label) in enumerate(ticks(hours, reader)):
        share = hours.share(at)
        x = _pct(share)
        anchor = "start" if share < 6 else "end" if share > 94 else "middle"
        parts.append(element("line", x1=x, x2=x, y1=_TOP_PX, y2=_FLOOR_PX, stroke=palette.line, stroke_width=1))
        parts.append(
            text(
                label,
                x=x,
                y=HEIGHT_PX - 5,
                fill=palette.muted,
                font_size=12.5,
                font_family=FONT,
                text_anchor=anchor,
                class_="other" if place % 2 else None,
            )
        )
    return "".join(parts)


def _risen(batch: Batch, hours: Hours, now: datetime, palette: Palette, stale_since: datetime | None) -> str:
    y = (_TOP_PX + _FLOOR_PX - _BAR_PX) / 2
    known_until = min(now, stale_since or now)
    parts = [
        element(
            "rect",
            **_span(batch.started_at, known_until, hours),
            y=y,
            height=_BAR_PX,
            fill=palette.dough if stale_since is None else palette.line,
            stroke=palette.crust if stale_since is None else palette.muted,
            stroke_width=1.2,
        )
    ]
    if stale_since is not None:  # nobody has seen it since: an empty, dotted stretch
        span = _span(known_until, now, hours)
        parts.append(
            element("rect", **span, y=y, height=_BAR_PX, fill="none", stroke=palette.muted, stroke_dasharray="1 4")
        )
    return "".join(parts)


def _ready(ready: Moments, hours: Hours, palette: Palette, *, is_stale: bool) -> str:
    first = ready.p05 or ready.p25 or ready.p50
    last = ready.p95 or hours.end
    parts = []
    colour = palette.muted if is_stale else palette.crust
    if first is not None and first < hours.end and last > hours.start:
        parts.append(
            element(
                "rect",
                **_span(first, last, hours),
                y=_TOP_PX + 2,
                height=_FLOOR_PX - _TOP_PX - 4,
                fill="url(#hatch)",
                stroke=colour,
                stroke_width=1.2,
            )
        )
    if ready.p50 is not None and hours.holds(ready.p50):
        x = _pct(hours.share(ready.p50))
        parts.append(element("line", x1=x, x2=x, y1=_TOP_PX, y2=_FLOOR_PX, stroke=colour, stroke_width=5))
    elif first is not None and first >= hours.end:  # beyond the edge: an arrow says it goes on
        arrow = element("path", d="M-12 -7L-4 0L-12 7", fill="none", stroke=colour, stroke_width=2.5)
        parts.append(element("svg", arrow, x="100%", y=(_TOP_PX + _FLOOR_PX) / 2, overflow="visible"))
    return "".join(parts)


def _tail(start: datetime, end: datetime, hours: Hours, palette: Palette) -> str:
    y = (_TOP_PX + _FLOOR_PX) / 2 - 5
    span = _span(start, end, hours)
    return element(
        "rect", **span, y=y, height=10, fill="none", stroke=palette.muted, stroke_width=1.4, stroke_dasharray="4 3"
    )


def heard_svg(
    heard: Sequence[datetime], lost: Sequence[datetime], hours: Hours, reader: Reader, palette: Palette
) -> str:
    """When a node was heard: dough-coloured where readings came, empty where none did, a cross where some were lost."""
    y = (_TOP_PX + _FLOOR_PX - _BAR_PX) / 2
    middle = (_TOP_PX + _FLOOR_PX) / 2
    parts = [_grid(hours, reader, palette)]
    parts.append(element("line", x1=0, x2="100%", y1=middle, y2=middle, stroke=palette.muted, stroke_dasharray="1 4"))
    for start, end in stretches(heard):
        span = _span(start, end, hours)
        parts.append(
            element("rect", **span, y=y, height=_BAR_PX, fill=palette.dough, stroke=palette.crust, stroke_width=1.2)
        )
    cross = element("path", d="M-6 -6L6 6M-6 6L6 -6", stroke=palette.ember, stroke_width=3)
    parts += [element("svg", cross, x=_pct(hours.share(at)), y=middle, overflow="visible") for at in lost]
    return elastic_drawing(_NARROW + "".join(parts), HEIGHT_PX)


def stretches(heard: Sequence[datetime]) -> list[tuple[datetime, datetime]]:
    """First and last moment of each stretch without a silence longer than ``HEARD_GAP``; ``heard`` ascends."""
    found: list[tuple[datetime, datetime]] = []
    for at in heard:
        if found and at - found[-1][1] <= HEARD_GAP:
            found[-1] = (found[-1][0], at)
        else:
            found.append((at, at))
    return [(start, max(end, start + timedelta(seconds=30))) for start, end in found]
