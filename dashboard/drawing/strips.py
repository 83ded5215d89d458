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
from monitor.wording.times import clock_text, day_word, dial_text

HEIGHT_PX = 78
_BAR_PX, _BLOCK_PX, _TAIL_PX = 16, 38, 10
MAX_LABELS = 10  # so that they stand clear of each other
# A picture's own style sheet knows the size it is shown at: on a phone every other label goes, and a strip as high as
# its card has no labels, since the hours stand once above all cards.
_SIZES = (
    "<style>@media (max-width: 440px) { .other { display: none } } "
    "@media (min-height: 90px) { text { display: none } }</style>"
)
STEPS_MIN = (10, 15, 30, 60, 120, 180, 240, 360, 720, 1440)
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
    """Round moments of the baker's clock on the strip, with their words (``7 AM``): at most ``MAX_LABELS``."""
    length = hours.end - hours.start
    step_min = next(
        (step for step in STEPS_MIN if length <= step * (MAX_LABELS - 1) * timedelta(minutes=1)), STEPS_MIN[-1]
    )
    moments = round_moments(hours.start, hours.end, step_min, reader.zone)
    words = (dial_text(at.astimezone(reader.zone), reader) for at in moments)
    return [(at, word.replace(":00\u00a0", "\u00a0")) for at, word in zip(moments, words, strict=True)]


def _hour_or_day(at: datetime, hour: str, reader: Reader) -> str:
    """The hour; at midnight the day that begins."""
    local = at.astimezone(reader.zone)
    return hour if local.hour or local.minute else day_word(local, reader)


def strip_svg(
    batch: Batch,
    outlook: Outlook | None,
    hours: Hours,
    now: datetime,
    reader: Reader,
    palette: Palette,
    *,
    stale_since: datetime | None = None,
    has_hours: bool = True,
) -> str:
    """The strip of one batch, as an SVG document that takes the width of what it is put in."""
    parts = [_risen(batch, hours, now, palette, stale_since)]
    if outlook is not None:
        parts.append(_ready(outlook.ready, hours, palette, is_stale=stale_since is not None))
        tail_end = good_until(batch, outlook)
        tail_start = outlook.ready.p95
        if tail_end is not None and tail_start is not None and tail_end > tail_start:
            parts.append(bar(tail_start, tail_end, hours, _TAIL_PX, stroke=palette.muted, stroke_dasharray="4 3"))
    x = pct(hours.share(now))
    rule = element("line", x1=x, x2=x, y1=0, y2="100%", stroke=palette.ink, stroke_width=2.5)
    lines = grid(hours, reader, palette, has_hours=has_hours)
    return elastic_drawing(_SIZES + hatch(palette) + lines + _middle("".join(parts)) + rule, HEIGHT_PX)


def hours_svg(hours: Hours, now: datetime, reader: Reader, palette: Palette) -> str:
    """The hours that stand once above all strips, with the moment it is now."""
    words = clock_text(now, reader)
    here = hours.share(now)
    half = 4.2 * len(words) + 7.0
    labels = "".join(
        _hour(_hour_or_day(at, label, reader), hours.share(at), 18, palette, place)
        for place, (at, label) in enumerate(ticks(hours, reader))
        if abs(hours.share(at) - here) > 11.0 or not hours.holds(now)
    )
    pill = element("rect", x=-half, y=1, width=2 * half, height=25, rx=5, fill=palette.ink)
    label = text(
        words, x=0, y=19, fill=palette.paper, font_size=15, font_weight=700, font_family=FONT, text_anchor="middle"
    )
    at = element("svg", pill + label, x=pct(min(max(here, 8.5), 91.5)), overflow="visible") if hours.holds(now) else ""
    return elastic_drawing(_SIZES + labels + at, 26)


def _middle(content: str) -> str:
    """What is drawn about the middle of the height, whatever that is."""
    return element("svg", content, y="50%", overflow="visible")


def pct(share: float) -> str:
    return f"{min(max(share, 0.0), 100.0):.2f}%"


def bar(start: datetime, end: datetime, hours: Hours, height_px: float, *, fill: str = "none", **more: object) -> str:
    """A stretch of time, cut to the strip, about the middle of it."""
    left = min(max(hours.share(start), 0.0), 100.0)
    right = min(max(hours.share(end), 0.0), 100.0)
    width = f"{max(0.0, right - left):.2f}%"
    y = -height_px / 2
    more |= {"fill": fill, "stroke_width": 1.3}
    return element("rect", "", x=f"{left:.2f}%", y=y, width=width, height=height_px, **more)


def hatch(palette: Palette) -> str:
    line = element("path", d="M-2 2L2 -2M0 8L8 0M6 10L10 6", stroke=palette.crust, stroke_width=1.6)
    ground = element("rect", width=8, height=8, fill=palette.dough)
    pattern = element("pattern", ground + line, id="hatch", width=8, height=8, patternUnits="userSpaceOnUse")
    return element("defs", pattern)


def _hour(label: str, share: float, y: object, palette: Palette, place: int) -> str:
    return text(
        label,
        x=pct(share),
        y=y,
        fill=palette.muted,
        font_size=12.5,
        font_family=FONT,
        text_anchor="start" if share < 6 else "end" if share > 94 else "middle",
        class_="other" if place % 2 else None,
    )


def grid(hours: Hours, reader: Reader, palette: Palette, *, has_hours: bool) -> str:
    lines, labels = [], []
    for place, (at, label) in enumerate(ticks(hours, reader)):
        x = pct(hours.share(at))
        lines.append(element("line", x1=x, x2=x, y1=0, y2="100%", stroke=palette.line, stroke_width=1))
        labels.append(_hour(label, hours.share(at), -5, palette, place))
    if not has_hours:
        return "".join(lines)
    return "".join(lines) + element("svg", "".join(labels), y="100%", overflow="visible")


def _risen(batch: Batch, hours: Hours, now: datetime, palette: Palette, stale_since: datetime | None) -> str:
    if stale_since is None:
        return bar(batch.started_at, now, hours, _BAR_PX, fill=palette.dough, stroke=palette.crust)
    known_until = min(now, stale_since)  # nobody has seen it since: an empty, dotted stretch
    seen = bar(batch.started_at, known_until, hours, _BAR_PX, fill=palette.line, stroke=palette.muted)
    return seen + bar(known_until, now, hours, _BAR_PX, stroke=palette.muted, stroke_dasharray="1 4")


def _ready(ready: Moments, hours: Hours, palette: Palette, *, is_stale: bool) -> str:
    first = ready.p05 or ready.p25 or ready.p50
    last = ready.p95 or hours.end
    parts = []
    colour = palette.muted if is_stale else palette.crust
    if first is not None and first < hours.end and last > hours.start:
        parts.append(bar(first, last, hours, _BLOCK_PX, fill="url(#hatch)", stroke=colour))
    if ready.p50 is not None and hours.holds(ready.p50):
        x, half = pct(hours.share(ready.p50)), _BLOCK_PX / 2 + 2
        parts.append(element("line", x1=x, x2=x, y1=-half, y2=half, stroke=colour, stroke_width=5))
    elif first is not None and first >= hours.end:  # beyond the edge: an arrow says it goes on
        arrow = element("path", d="M-12 -7L-4 0L-12 7", fill="none", stroke=colour, stroke_width=2.5)
        parts.append(element("svg", arrow, x="100%", overflow="visible"))
    return "".join(parts)


def heard_svg(
    heard: Sequence[datetime], lost: Sequence[datetime], hours: Hours, reader: Reader, palette: Palette
) -> str:
    """When a node was heard: dough-coloured where readings came, empty where none did, a cross where some were lost."""
    parts = [element("line", x1=0, x2="100%", y1=0, y2=0, stroke=palette.muted, stroke_dasharray="1 4")]
    parts += [
        bar(start, end, hours, _BAR_PX, fill=palette.dough, stroke=palette.crust) for start, end in stretches(heard)
    ]
    cross = element("path", d="M-6 -6L6 6M-6 6L6 -6", stroke=palette.ember, stroke_width=3)
    parts += [element("svg", cross, x=pct(hours.share(at)), overflow="visible") for at in lost]
    return elastic_drawing(_SIZES + grid(hours, reader, palette, has_hours=True) + _middle("".join(parts)), HEIGHT_PX)


def stretches(heard: Sequence[datetime]) -> list[tuple[datetime, datetime]]:
    """First and last moment of each stretch without a silence longer than ``HEARD_GAP``; ``heard`` ascends."""
    found: list[tuple[datetime, datetime]] = []
    for at in heard:
        if found and at - found[-1][1] <= HEARD_GAP:
            found[-1] = (found[-1][0], at)
        else:
            found.append((at, at))
    return [(start, max(end, start + timedelta(seconds=30))) for start, end in found]
