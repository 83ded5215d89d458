"""The tub is drawn to scale: levels come from volume through the geometry, whatever the shape."""

import re
import xml.etree.ElementTree as ET
from math import pi

import pytest

from dashboard.drawing.palette import DAY
from dashboard.drawing.tub import HEADROOM_FRAC, Fill, fill, tub_svg
from monitor.dough.outlook import Band, TargetEdge
from monitor.recipe.vessel import Shape, Vessel, volume_ml

STRAIGHT = Vessel(Shape.ROUND, (200.0, 200.0), (200.0, 200.0), 250.0)
TAPERED = Vessel(Shape.ROUND, (80.0, 80.0), (100.0, 100.0), 150.0)
TRAY = Vessel(Shape.RECTANGULAR, (300.0, 200.0), (340.0, 240.0), 120.0)
VESSELS = pytest.mark.parametrize("vessel", [STRAIGHT, TAPERED, TRAY], ids=["straight", "tapered", "tray"])


def drawn(vessel: Vessel, levels: Fill, **more: float) -> ET.Element:
    return ET.fromstring(tub_svg(vessel, levels, DAY, **more))


def find(svg: ET.Element, tag: str) -> list[ET.Element]:
    return svg.findall(f".//{{http://www.w3.org/2000/svg}}{tag}")


def wall_points(svg: ET.Element) -> list[tuple[float, float]]:
    (walls,) = find(svg, "polyline")
    return [(float(x), float(y)) for x, y in (pair.split(",") for pair in walls.attrib["points"].split())]


def test_doubled_dough_in_a_straight_tub_stands_twice_as_high() -> None:
    levels = fill(STRAIGHT, float(volume_ml(STRAIGHT, 60.0)), 100.0, 100.0)
    assert dict(levels.scale_mm)[0] == pytest.approx(60.0)
    assert levels.edge_mm == levels.middle_mm == pytest.approx(120.0)
    assert levels.band_mm == pytest.approx(120.0)


def test_doubled_dough_in_a_tapered_tub_stands_less_than_twice_as_high() -> None:
    # frustum 80 to 100 mm over 150 mm filled to 60 mm: 332.76 mL, doubled 110.71 mm (frustum formula)
    levels = fill(TAPERED, 332.76, 100.0, None)
    assert levels.edge_mm == levels.middle_mm == pytest.approx(110.71, abs=0.01)
    assert levels.band_mm is None


def test_unknown_start_volume_shows_the_proportion_and_says_so() -> None:
    levels = fill(STRAIGHT, None, 50.0, 100.0)
    assert not levels.is_measured
    assert levels.edge_mm == pytest.approx(1.5 * dict(levels.scale_mm)[0])
    (walls,) = find(drawn(STRAIGHT, levels), "polyline")
    assert "stroke-dasharray" in walls.attrib


@VESSELS
def test_silhouette_keeps_the_vessels_proportions(vessel: Vessel) -> None:
    (rim_left, base_left, base_right, rim_right) = wall_points(drawn(vessel, fill(vessel, 1000.0, 10.0, 100.0)))
    rim, base = rim_right[0] - rim_left[0], base_right[0] - base_left[0]
    height = base_left[1] - rim_left[1]
    assert base / rim == pytest.approx(max(vessel.base_mm) / max(vessel.top_mm), abs=0.01)
    assert height / rim == pytest.approx(vessel.depth_mm / max(vessel.top_mm), abs=0.01)


@VESSELS
def test_band_hangs_at_its_level(vessel: Vessel) -> None:
    levels = fill(vessel, float(volume_ml(vessel, 0.3 * vessel.depth_mm)), 0.0, 60.0)
    assert levels.band_mm is not None
    svg = drawn(vessel, levels)
    (_, base, _, _), rim = wall_points(svg), wall_points(svg)[0]
    (band,) = find(svg, "line")
    part = (base[1] - float(band.attrib["y1"])) / (base[1] - rim[1])
    assert part == pytest.approx(levels.band_mm / vessel.depth_mm, abs=0.02)


def top_of_dough(svg: ET.Element) -> tuple[float, float]:
    """Height on the page of the edge and of the control point of the dough's top."""
    path = find(svg, "path")[1].attrib["d"]
    _, edge, _, control, _, _ = (float(number) for number in re.findall(r"-?\d+\.\d+", path))
    return edge, control


def test_a_dome_is_drawn_to_scale_and_a_hollow_sinks() -> None:
    levels = fill(STRAIGHT, 2000.0, 80.0, 100.0, dome_mm=16.0)
    svg = drawn(STRAIGHT, levels)
    (_, base, _, _), rim = wall_points(svg), wall_points(svg)[0]
    px_per_mm = (base[1] - rim[1]) / STRAIGHT.depth_mm
    edge, control = top_of_dough(svg)
    assert (edge - control) / 2.0 == pytest.approx(16.0 * px_per_mm, abs=0.05)  # the curve goes half way to its control
    mean_mm = 1.8 * 2000.0 / (0.25 * pi * 200.0**2) * 1000.0
    assert (levels.edge_mm, levels.middle_mm) == pytest.approx((mean_mm - 8.0, mean_mm + 8.0))
    edge, control = top_of_dough(drawn(STRAIGHT, fill(STRAIGHT, 2000.0, 80.0, 100.0, dome_mm=-9.0)))
    assert control > edge


def test_band_and_scale_stand_where_the_edge_will() -> None:
    start_ml = float(volume_ml(STRAIGHT, 60.0))
    edge = TargetEdge(100.0, Band(106.0, 112.0, 116.0), Band(10.0, 16.0, 28.0))
    levels = fill(STRAIGHT, start_ml, 20.0, 100.0, dome_mm=6.0, target_edge=edge)
    assert levels.band_mm == 112.0
    assert dict(levels.scale_mm)[0] == pytest.approx(60.0)
    assert dict(levels.scale_mm)[100] == pytest.approx(112.0)


def test_a_band_that_was_moved_since_moves_at_once() -> None:
    start_ml = float(volume_ml(STRAIGHT, 60.0))
    edge = TargetEdge(100.0, Band(106.0, 112.0, 116.0), Band(10.0, 16.0, 28.0))
    assert fill(STRAIGHT, start_ml, 20.0, 50.0, target_edge=edge).band_mm == pytest.approx(90.0 - 8.0)


@pytest.mark.parametrize("rise_pct", [-100.0, -20.0, 0.0, 250.0, 5000.0, float("nan"), float("inf")])
@pytest.mark.parametrize("dome_mm", [0.0, 30.0, -20.0])
@VESSELS
def test_any_rise_stays_on_the_drawing(vessel: Vessel, rise_pct: float, dome_mm: float) -> None:
    levels = fill(vessel, float(volume_ml(vessel, 0.4 * vessel.depth_mm)), rise_pct, 400.0, dome_mm=dome_mm)
    svg = drawn(vessel, levels, has_scale=True)
    _, _, width, height = (float(number) for number in svg.attrib["viewBox"].split())
    for path in find(svg, "path"):
        numbers = [float(number) for number in re.findall(r"-?\d+\.\d+", path.attrib["d"])]
        assert all(0.0 <= number <= max(width, height) * (1 + HEADROOM_FRAC) for number in numbers)
    assert "nan" not in ET.tostring(svg, "unicode")


def test_stale_tub_is_grey() -> None:
    levels = fill(STRAIGHT, 2000.0, 80.0, 100.0)
    fresh, stale = (tub_svg(STRAIGHT, levels, DAY, is_stale=is_stale) for is_stale in (False, True))
    assert DAY.dough in fresh
    assert DAY.dough not in stale
    assert DAY.ember not in stale
    assert "stroke-dasharray" in stale


def test_large_tub_has_a_scale_with_the_start() -> None:
    svg = drawn(TAPERED, fill(TAPERED, 332.76, 40.0, 100.0), has_scale=True, width_px=300.0, height_px=280.0)
    words = [text.text for text in find(svg, "text")]
    assert words[0] == "start"
    assert "100 %" in words
