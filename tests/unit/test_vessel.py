"""Vessel geometry: height, volume and back, for any tub a bakery may own."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.start.vessels import _SHAPES
from monitor.recipe.vessel import Shape, Vessel, height_mm, level_mm, surface_mm2, volume_ml

TUB = Vessel(Shape.ROUND, (180.0, 180.0), (210.0, 210.0), 250.0, 300.0)
sides = st.floats(10.0, 1000.0)


@st.composite
def vessels(draw: st.DrawFn) -> Vessel:
    shape = draw(st.sampled_from(Shape))
    if shape is Shape.ROUND:
        base, top = draw(sides), draw(sides)
        return Vessel(shape, (base, base), (top, top), draw(sides))
    return Vessel(shape, (draw(sides), draw(sides)), (draw(sides), draw(sides)), draw(sides))


def test_every_shape_can_be_chosen_on_the_screen():
    assert set(_SHAPES) == set(Shape)


@given(vessels(), st.floats(-0.5, 2.0))
def test_level_is_the_inverse_of_volume_below_in_and_above_the_tub(vessel: Vessel, part: float):
    level = part * vessel.depth_mm
    assert level_mm(vessel, volume_ml(vessel, level)) == pytest.approx(level, abs=1e-6 * vessel.depth_mm)


@given(vessels(), st.lists(st.floats(-500.0, 3000.0), min_size=2, max_size=20))
def test_volume_grows_with_height(vessel: Vessel, levels: list[float]):
    volumes = volume_ml(vessel, np.sort(np.array(levels)))
    assert np.all(np.diff(volumes) >= 0.0)


@given(vessels(), st.lists(st.floats(-100.0, 2000.0) | st.just(float("nan")), max_size=10))
def test_an_array_gives_what_its_numbers_give(vessel: Vessel, levels: list[float]):
    together = volume_ml(vessel, np.array(levels))
    assert together.shape == (len(levels),)
    np.testing.assert_allclose(together, [volume_ml(vessel, level) for level in levels], rtol=1e-12)
    back = level_mm(vessel, together)
    np.testing.assert_allclose(back, [level_mm(vessel, float(volume)) for volume in together], rtol=1e-6, atol=1e-6)


@given(vessels(), st.floats(0.01, 1.0))
def test_volume_is_the_sum_of_thin_slices(vessel: Vessel, part: float):
    n, height = 400, part * vessel.depth_mm
    z = (np.arange(n) + 0.5) * height / n
    length, width = (vessel.base_mm[i] + (vessel.top_mm[i] - vessel.base_mm[i]) * z / vessel.depth_mm for i in (0, 1))
    area = length * width * (np.pi / 4.0 if vessel.shape is Shape.ROUND else 1.0)
    assert volume_ml(vessel, height) == pytest.approx(float(np.sum(area) * height / n / 1000.0), rel=1e-4)


def test_nothing_is_nothing_and_nan_stays_nan():
    assert volume_ml(TUB, 0.0) == 0.0
    assert level_mm(TUB, 0.0) == pytest.approx(0.0, abs=1e-9)
    assert np.isnan(volume_ml(TUB, float("nan")))
    assert np.isnan(level_mm(TUB, float("nan")))
    assert level_mm(TUB, np.empty(0)).shape == (0,)


def test_a_number_gives_a_plain_number():
    assert type(volume_ml(TUB, 60.0)) is float
    assert type(level_mm(TUB, 60.0)) is float


def test_straight_walls_double_in_height():
    tin = Vessel(Shape.RECTANGULAR, (300.0, 200.0), (300.0, 200.0), 150.0)
    assert volume_ml(tin, 50.0) == pytest.approx(3000.0)
    assert level_mm(tin, 6000.0) == pytest.approx(100.0)


def test_walls_that_lean_inwards_stand_upright_above_the_rim():
    jar = Vessel(Shape.ROUND, (100.0, 100.0), (20.0, 20.0), 100.0)
    over_ml = volume_ml(jar, 150.0) - jar.volume_ml
    assert over_ml == pytest.approx(np.pi / 4.0 * 20.0**2 * 50.0 / 1000.0)


def test_height_is_what_is_left_of_the_way_to_the_base():
    assert height_mm(TUB, 212.4) == pytest.approx(87.6)
    assert height_mm(TUB, np.array([300.0, 310.0])).tolist() == [0.0, -10.0]


def test_a_tub_without_a_sensor_has_no_height():
    blind = Vessel(Shape.ROUND, (180.0, 180.0), (180.0, 180.0), 250.0)
    with pytest.raises(ValueError, match="sensor_to_base_mm is not known"):
        height_mm(blind, 200.0)


@pytest.mark.parametrize(
    ("base", "top", "depth", "sensor", "told"),
    [
        ((0.0, 0.0), (1.0, 1.0), 1.0, None, "base_mm = 0.0"),
        ((1.0, 1.0), (-1.0, -1.0), 1.0, None, "top_mm = -1.0"),
        ((1.0, float("nan")), (1.0, 1.0), 1.0, None, "base_mm = nan"),
        ((1.0, 1.0), (1.0, 1.0), float("inf"), None, "depth_mm = inf"),
        ((1.0, 1.0), (1.0, 1.0), 1.0, 0.0, "sensor_to_base_mm = 0.0"),
        ((1.0, 2.0), (1.0, 1.0), 1.0, None, "one diameter"),
    ],
)
def test_impossible_measures_are_refused(base, top, depth, sensor, told):
    with pytest.raises(ValueError, match=told):
        Vessel(Shape.ROUND, base, top, depth, sensor)


@given(vessels())
def test_surface_of_a_full_tub_is_more_than_its_base_and_rim(vessel: Vessel):
    area = surface_mm2(vessel, vessel.depth_mm)
    assert area > surface_mm2(vessel, 0.0) / 2.0
    assert surface_mm2(vessel, 10.0 * vessel.depth_mm) == area


def test_surface_of_a_cone_frustum():
    # pi (r1 + r2) s with radii 30 and 60 and a slant of 50, and both ends (computed from the frustum formula)
    tub = Vessel(Shape.ROUND, (60.0, 60.0), (120.0, 120.0), 40.0)
    assert surface_mm2(tub, 40.0) == pytest.approx(np.pi * (90.0 * 50.0 + 30.0**2 + 60.0**2))


def test_surface_of_a_box_is_its_six_faces():
    tin = Vessel(Shape.RECTANGULAR, (30.0, 20.0), (30.0, 20.0), 10.0)
    assert surface_mm2(tin, 10.0) == pytest.approx(2.0 * (600.0 + 300.0 + 200.0))
