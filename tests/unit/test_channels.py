"""There is one list of channels; whatever must keep a copy of it says the same."""

import re
from dataclasses import fields
from math import log10
from pathlib import Path

from dashboard.sensors.screen import NAMES
from firmware_sim.bench.replay import SCALES
from firmware_sim.node import packet, sampling
from monitor.dough.track import Track
from monitor.recipe.calibration import LIMITS
from monitor.wire import frames
from monitor.wire.readings import DOUGH_CHANNELS, SENSOR_CHANNELS, Channel

FORMAT = (Path(frames.__file__).parent / "README.md").read_text(encoding="utf-8")
GOLDEN = (Path(__file__).parents[1] / "data" / "frames" / "frames.txt").read_text(encoding="ascii")


def on_wire(channel: Channel) -> tuple[str, str, int]:
    """Name, unit and digits after the point, as a frame has them."""
    kind = frames._KINDS[channel.wire_name]
    return channel.wire_name, kind.unit, channel.decimals + round(log10(kind.factor))


def test_a_channel_is_known_by_its_name_and_has_a_range() -> None:
    for channel in Channel:
        low, high = channel.plausible
        assert Channel(channel.value) is channel
        assert low < high
    named = [channel.wire_name for channel in Channel if channel.wire_name]
    assert len(set(named)) == len(named) == len(Channel) - 1  # a level is read by a person


def test_a_node_packs_the_sensors_channels_in_their_order() -> None:
    assert tuple(on_wire(channel) for channel in SENSOR_CHANNELS) == packet.RECORDS
    assert len(sampling.LIMITS) == len(SENSOR_CHANNELS)


def test_the_wire_format_lists_every_channel() -> None:
    rows = re.findall(r"^\| `(\w+)` \| `([\w%]+)` \|.*\| ([\d.]+) \|$", FORMAT, re.MULTILINE)
    listed = [(name, unit, round(-log10(float(resolution)))) for name, unit, resolution in rows]
    assert listed == [on_wire(channel) for channel in Channel if channel.wire_name]


def test_golden_frames_hold_every_channel() -> None:
    assert set(re.findall(r'"n":"(\w+)"', GOLDEN)) >= {channel.wire_name for channel in Channel if channel.wire_name}


def test_recordings_have_a_column_for_every_sensor() -> None:
    assert {channel.value: 10**channel.decimals for channel in SENSOR_CHANNELS} == SCALES


def test_a_track_has_a_field_for_every_channel_of_a_dough() -> None:
    assert {field.name for field in fields(Track)} == {channel.value for channel in DOUGH_CHANNELS}


def test_every_sensor_can_be_calibrated_and_is_named_on_the_screen() -> None:
    assert {channel.unit for channel in SENSOR_CHANNELS} <= LIMITS.keys()
    assert NAMES.keys() == set(SENSOR_CHANNELS)
