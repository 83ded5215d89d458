"""A sensor set right by what is known: offset, doubt, and what is refused."""

from datetime import UTC, datetime, timedelta
from math import hypot, inf, nan

import pytest

from monitor.recipe.calibration import Calibration, Comparison, Point, one_point, set_right, settled, two_points
from monitor.wire.readings import Channel, NodeId, Reading

NODE = NodeId("urn:dev:mac:020000fffe5e0001")
NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


def reading(channel: Channel, value: float, node: NodeId = NODE) -> Reading:
    return Reading(node, "0a1b2c3d", 1, channel, value, NOON, NOON)


def test_offset_is_truth_minus_median_so_one_stray_reading_does_not_matter() -> None:
    found = one_point(NODE, Channel.DOUGH_TEMP, Point((0.4, 0.4, 0.5, 0.4, 1.2), 0.0, 0.1), NOON, Comparison.ICE)
    assert found.offset == -0.4


def test_doubt_holds_the_readings_and_the_known_thing() -> None:
    values = (298.0, 299.0, 300.0, 299.0)
    _, sd = settled(Channel.DISTANCE, values)
    found = one_point(NODE, Channel.DISTANCE, Point(values, 300.0, 0.5), NOON, Comparison.EMPTY)
    assert found.sd == pytest.approx(hypot(sd, 0.5))


def test_a_sensor_that_says_one_value_for_ever_is_not_known_perfectly() -> None:
    assert settled(Channel.DISTANCE, [298.0] * 50)[1] == 0.3


def test_more_readings_leave_less_doubt() -> None:
    few, many = [298.0, 300.0, 302.0], [298.0, 300.0, 302.0] * 10
    assert settled(Channel.DISTANCE, many)[1] < settled(Channel.DISTANCE, few)[1]


@pytest.mark.parametrize("values", [(), (298.0,), (298.0, 299.0)])
def test_too_few_readings_are_refused(values: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match="at least 3"):
        settled(Channel.DISTANCE, values)


def test_a_hand_in_the_way_is_refused() -> None:
    with pytest.raises(ValueError, match="hold still"):
        settled(Channel.DISTANCE, [298.0, 299.0, 60.0, 298.0])


def test_an_offset_that_is_a_fault_is_refused() -> None:
    with pytest.raises(ValueError, match="fault"):
        one_point(NODE, Channel.DOUGH_TEMP, Point((85.0, 85.0, 85.0), 0.0, 0.1), NOON, Comparison.ICE)


def in_ice(reads_c: float) -> Calibration:
    return one_point(NODE, Channel.DOUGH_TEMP, Point((reads_c,) * 5, 0.0, 0.1), NOON, Comparison.ICE)


def test_two_points_give_the_offset_at_a_doughs_warmth() -> None:
    # a thermometer that reads 0.5 C too much at 0 C and 0.1 C too little at 52 C: at 26 C it is 0.2 C too warm
    found = two_points(in_ice(0.5), Point((51.9, 51.9, 51.9), 52.0, 0.1), NOON)
    assert found.offset == pytest.approx(-0.2, abs=0.01)
    assert 0.07 < found.sd < 0.12
    assert found.how is Comparison.TWO_POINTS


def test_two_points_that_disagree_leave_more_doubt() -> None:
    alike = two_points(in_ice(0.5), Point((40.5, 40.5, 40.5), 40.0, 0.1), NOON)
    apart = two_points(in_ice(0.5), Point((38.5, 38.5, 38.5), 40.0, 0.1), NOON)
    assert apart.sd > alike.sd


def test_two_points_too_close_are_refused() -> None:
    with pytest.raises(ValueError, match="at least 5 C above"):
        two_points(in_ice(0.5), Point((4.0, 4.0, 4.0), 4.1, 0.1), NOON)


def test_the_first_of_two_points_is_ice_water() -> None:
    reference = one_point(NODE, Channel.DOUGH_TEMP, Point((20.0,) * 3, 20.1, 0.3), NOON, Comparison.REFERENCE)
    with pytest.raises(ValueError, match="ice water, not reference"):
        two_points(reference, Point((40.0,) * 3, 40.1, 0.3), NOON)


def test_only_readings_of_that_channel_and_node_are_set_right() -> None:
    found = Calibration(NODE, Channel.DISTANCE, 1.5, 0.5, NOON, Comparison.EMPTY)
    other = NodeId("urn:dev:mac:020000fffe5e0002")
    assert set_right(reading(Channel.DISTANCE, 200.0), [found]).value == 201.5
    for untouched in (reading(Channel.DOUGH_TEMP, 25.0), reading(Channel.DISTANCE, 200.0, other)):
        assert set_right(untouched, [found]) == untouched


@pytest.mark.parametrize(("offset", "sd"), [(nan, 1.0), (inf, 1.0), (1.0, -0.1), (1.0, nan)])
def test_a_calibration_is_made_of_numbers(offset: float, sd: float) -> None:
    with pytest.raises(ValueError, match="must be numbers"):
        Calibration(NODE, Channel.DISTANCE, offset, sd, NOON + timedelta(hours=1), Comparison.EMPTY)
