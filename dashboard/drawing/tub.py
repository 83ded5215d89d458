"""The tub, drawn to scale: its real taper and proportions, the dough where its volume puts it, the band at the target.

A dough that has doubled in a tapered tub has not doubled in height: levels come from volume through the geometry. Its
top is drawn with the dome that it has, and what a baker holds against the wall, band and scale, stands where the edge
of the dough will.
"""

from dataclasses import dataclass
from math import isfinite

from dashboard.drawing.markup import drawing, element, text
from dashboard.drawing.palette import FONT, Palette
from monitor.dough.outlook import TargetEdge
from monitor.recipe.vessel import Vessel, level_mm, volume_ml

HEADROOM_FRAC = 0.10  # room drawn over the rim, for a dough that climbs out
UNMEASURED_FILL_FRAC = 0.4  # where the dough is drawn to start when nobody has measured it: judgement
# Drawn small, the scale could not be read: a picture's own style sheet knows the width it is shown at.
_NARROW = "<style>@media (max-width: 180px) { .scale { display: none } }</style>"
SCALE_STEPS_PCT = (0, 50, 100, 150, 200, 250, 300)


@dataclass(frozen=True, slots=True)
class Fill:
    """Where the dough stands in its vessel, in millimetres over the base.

    Attributes
    ----------
    edge_mm, middle_mm
        The dough now, at the wall and in the middle; None when its rise is not known.
    band_mm
        The edge at the target; None when there is none.
    scale_mm
        Rises in per cent, each with the level at which the edge stands then.
    is_measured
        False when the start volume is not known: then the levels only show the proportion.
    """

    edge_mm: float | None
    middle_mm: float | None
    band_mm: float | None
    scale_mm: tuple[tuple[int, float], ...]
    is_measured: bool = True


def fill(
    vessel: Vessel,
    start_volume_ml: float | None,
    rise_pct: float | None,
    target_pct: float | None,
    *,
    dome_mm: float = 0.0,
    target_edge: TargetEdge | None = None,
) -> Fill:
    """The levels of a dough in its vessel.

    Parameters
    ----------
    start_volume_ml
        Volume that rise is counted from; None: the dough is drawn as if it had started at a fixed part of the depth.
    rise_pct
        100 (V/V0 - 1); None when it is not known.
    target_pct
        Rise of the target; None for a target that is the peak.
    dome_mm
        The middle of the top over its edge, now.
    target_edge
        The edge at the target. Without it, or when the band was moved since, the dome as it is now stands in.
    """
    start_ml = start_volume_ml
    if start_ml is None or not start_ml > 0:
        start_ml = float(volume_ml(vessel, UNMEASURED_FILL_FRAC * vessel.depth_mm))
    edge = middle = band = None
    if rise_pct is not None and isfinite(rise_pct):
        mean = _level(vessel, start_ml, rise_pct)
        edge, middle = max(0.0, mean - 0.5 * dome_mm), max(0.0, mean + 0.5 * dome_mm)
    then_mm = dome_mm if target_edge is None else target_edge.dome_mm.p50
    if target_edge is not None and target_edge.rise_pct == target_pct:
        band = max(0.0, target_edge.level_mm.p50)
    elif target_pct is not None:
        band = max(0.0, _level(vessel, start_ml, target_pct) - 0.5 * then_mm)
    # A dough that was put down lies nearly flat; at the rises of the scale it has found the dome that it will have.
    scale = tuple((pct, _level(vessel, start_ml, pct) - (0.5 * then_mm if pct else 0.0)) for pct in SCALE_STEPS_PCT)
    return Fill(edge, middle, band, scale, start_volume_ml is not None)


def _level(vessel: Vessel, start_ml: float, rise_pct: float) -> float:
    return max(0.0, float(level_mm(vessel, start_ml * max(0.0, 1.0 + rise_pct / 100.0))))


@dataclass(frozen=True, slots=True)
class _Frame:
    """Millimetres of the vessel -> pixels of the drawing, one scale for both directions."""

    vessel: Vessel
    middle_px: float
    base_px: float
    px_per_mm: float

    def y(self, level: float) -> float:
        return self.base_px - level * self.px_per_mm

    def half(self, level: float) -> float:
        """Half the inner width at a level, in pixels; over the rim it stays the rim's."""
        base, top = max(self.vessel.base_mm), max(self.vessel.top_mm)
        part = min(max(level / self.vessel.depth_mm, 0.0), 1.0)
        return (base + (top - base) * part) / 2.0 * self.px_per_mm


def _frame(vessel: Vessel, width_px: float, height_px: float, margin_px: float) -> _Frame:
    widest = max(max(vessel.base_mm), max(vessel.top_mm))
    scale = min(
        (width_px - 2 * margin_px) / widest, (height_px - 2 * margin_px) / (vessel.depth_mm * (1 + HEADROOM_FRAC))
    )
    return _Frame(vessel, width_px / 2, height_px - margin_px, scale)


def tub_svg(
    vessel: Vessel,
    levels: Fill,
    palette: Palette,
    *,
    width_px: float = 84.0,
    height_px: float = 96.0,
    is_stale: bool = False,
    has_scale: bool = False,
    start_word: str = "start",
) -> str:
    """The silhouette of a vessel with its dough and band, as an SVG document.

    Parameters
    ----------
    is_stale
        Draws the dough grey and its outline dashed: this is how it stood, not how it stands.
    has_scale
        Adds the rises a baker can read off the wall; for the large drawing only.
    """
    frame = _frame(vessel, width_px, height_px, margin_px=6.0 if not has_scale else 30.0)
    stroke_px = 2.5 if has_scale else 2.0
    parts = []
    if levels.edge_mm is not None and levels.middle_mm is not None:
        parts.append(_dough(frame, levels.edge_mm, levels.middle_mm, palette, is_stale=is_stale, stroke_px=stroke_px))
    parts.append(_walls(frame, palette, is_stale=is_stale, is_measured=levels.is_measured, stroke_px=stroke_px))
    if has_scale and levels.is_measured:
        parts.append(_scale(frame, levels, palette, start_word))
    if levels.band_mm is not None:
        parts.append(_band(frame, levels.band_mm, palette, is_stale=is_stale, is_large=has_scale))
    return drawing("".join(parts), width_px, height_px)


def vessel_svg(vessel: Vessel, levels: Fill, palette: Palette, px_per_mm: float) -> tuple[str, float, float]:
    """A vessel with its dough at a given scale, so that several can be told by their size; and its own in pixels."""
    margin_px = 6.0
    width_px = max(*vessel.base_mm, *vessel.top_mm) * px_per_mm + 2 * margin_px
    height_px = vessel.depth_mm * (1 + HEADROOM_FRAC) * px_per_mm + 2 * margin_px
    frame = _frame(vessel, width_px, height_px, margin_px)
    parts = [_walls(frame, palette, is_stale=False, is_measured=True, stroke_px=2.5)]
    if levels.edge_mm is not None and levels.middle_mm is not None:
        dough = _dough(frame, levels.edge_mm, levels.middle_mm, palette, is_stale=False, stroke_px=2.5)
        parts.insert(0, dough)
    if levels.band_mm is not None:
        parts.append(_band(frame, levels.band_mm, palette, is_stale=False, is_large=False))
    return drawing("".join(parts), width_px, height_px), width_px, height_px


def _dough(
    frame: _Frame, edge_mm: float, middle_mm: float, palette: Palette, *, is_stale: bool, stroke_px: float
) -> str:
    highest = frame.vessel.depth_mm * (1 + HEADROOM_FRAC)
    edge, middle = min(edge_mm, highest), min(middle_mm, highest)
    half, edge_y, base_half = frame.half(edge), frame.y(edge), frame.half(0.0)
    left, right = frame.middle_px - half, frame.middle_px + half
    control_y = 2 * frame.y(middle) - edge_y  # a curve of this kind goes half way to the point that pulls it
    curve = f"{left:.2f} {edge_y:.2f}Q{frame.middle_px:.2f} {control_y:.2f} {right:.2f} {edge_y:.2f}"
    path = f"M{frame.middle_px - base_half:.2f} {frame.base_px:.2f}L{curve}"
    path += f"L{frame.middle_px + base_half:.2f} {frame.base_px:.2f}Z"
    area = palette.line if is_stale else palette.dough
    stroke = palette.muted if is_stale else palette.crust
    return element("path", d=path, fill=area) + element(
        "path",
        d=f"M{curve}",
        fill="none",
        stroke=stroke,
        stroke_width=stroke_px * 0.75,
        stroke_dasharray="4 3" if is_stale else None,
    )


def _walls(frame: _Frame, palette: Palette, *, is_stale: bool, is_measured: bool, stroke_px: float) -> str:
    base_half, top_half = frame.half(0.0), frame.half(frame.vessel.depth_mm)
    rim_y = frame.y(frame.vessel.depth_mm)
    points = (
        f"{frame.middle_px - top_half:.2f},{rim_y:.2f} {frame.middle_px - base_half:.2f},{frame.base_px:.2f} "
        f"{frame.middle_px + base_half:.2f},{frame.base_px:.2f} {frame.middle_px + top_half:.2f},{rim_y:.2f}"
    )
    return element(
        "polyline",
        points=points,
        fill="none",
        stroke=palette.muted if is_stale else palette.ink,
        stroke_width=stroke_px,
        stroke_linejoin="round",
        stroke_linecap="round",
        stroke_dasharray=None if is_measured else "6 4",
    )


def _band(frame: _Frame, band_mm: float, palette: Palette, *, is_stale: bool, is_large: bool) -> str:
    """The rubber band; one that belongs over the rim hangs dashed above it."""
    is_over = band_mm > frame.vessel.depth_mm
    level = min(band_mm, frame.vessel.depth_mm * (1 + HEADROOM_FRAC * 0.8))
    half = frame.half(level) + (5.0 if is_large else 3.0)
    y = frame.y(level)
    return element(
        "line",
        x1=frame.middle_px - half,
        y1=y,
        x2=frame.middle_px + half,
        y2=y,
        stroke=palette.muted if is_stale else palette.ember,
        stroke_width=6.0 if is_large else 4.0,
        stroke_dasharray="6 4" if is_over else None,
    )


def _scale(frame: _Frame, levels: Fill, palette: Palette, start_word: str) -> str:
    """Ticks on the wall at round rises: how far apart they stand is the taper, made visible."""
    parts = []
    last_y = frame.base_px + 99.0
    for pct, level in levels.scale_mm:
        y = frame.y(level)
        if level > frame.vessel.depth_mm or last_y - y < 16.0:
            continue
        last_y = y
        wall = frame.middle_px + frame.half(level)
        parts.append(element("line", x1=wall, y1=y, x2=wall - 9.0, y2=y, stroke=palette.ink, stroke_width=1.5))
        label = start_word if pct == 0 else f"{pct} %"
        parts.append(
            text(label, x=wall - 13.0, y=y + 4.5, fill=palette.ink, font_size=13, text_anchor="end", font_family=FONT)
        )
    return _NARROW + element("g", "".join(parts), class_="scale") if parts else ""
