"""`node calibrate` with values taken down before, and what it leaves behind."""

from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path

import pytest

from monitor.cli import main
from monitor.errors import SourceError
from monitor.node.calibration import heard
from monitor.node.reading_lines import pack_line, set_right_line
from monitor.node.settings import read_settings
from monitor.recipe.calibration import Calibration, Comparison
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store
from monitor.wire.readings import Channel, Flag, NodeId, Reading
from monitor.wording.reader import Reader

NODE = NodeId("urn:dev:mac:020000fffe5e0001")
NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


@pytest.fixture
def data_dir(tmp_path: Path) -> Path:
    assert main(["node", "configure", "tub-3", "--name", NODE, "--data-dir", str(tmp_path)]) == 0
    return tmp_path


def calibrate(data_dir: Path, *options: str) -> int:
    return main(["node", "calibrate", "tub-3", *options, "--data-dir", str(data_dir)])


def kept(data_dir: Path) -> list[Calibration]:
    with Store(data_dir / DATABASE_NAME) as store:
        return store.calibrations.all(NODE)


def test_an_empty_vessel_gives_the_sensors_height(data_dir: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert calibrate(data_dir, "empty", "--measured", "298.2,298.4,298.1") == 0
    assert "sensor_to_base_mm = 298.2" in capsys.readouterr().out
    settings = read_settings(data_dir, "tub-3")
    assert settings is not None
    assert settings.sensor_height_mm == 298.2
    (found,) = kept(data_dir)
    assert (found.offset, found.channel, found.how) == (pytest.approx(0.0), Channel.DISTANCE, Comparison.EMPTY)
    assert found.sd > 1.0


def test_a_known_height_is_what_an_empty_vessel_reads_from_then_on(data_dir: Path) -> None:
    assert calibrate(data_dir, "empty", "--truth", "300", "--measured", "298.2,298.4,298.1") == 0
    assert kept(data_dir)[0].offset == pytest.approx(1.8)


def test_a_block_makes_its_own_height_right(data_dir: Path) -> None:
    assert calibrate(data_dir, "empty", "--truth", "300", "--measured", "298,298,298") == 0
    assert calibrate(data_dir, "block", "--truth", "100", "--measured", "199,199,199") == 0
    block, empty = kept(data_dir)
    assert block.how is Comparison.BLOCK
    assert 300.0 - (199.0 + block.offset) == 100.0
    assert block.sd < empty.sd


def test_a_block_without_an_empty_vessel_is_refused_at_once(data_dir: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert calibrate(data_dir, "block", "--truth", "100") == 2
    assert "empty` first" in capsys.readouterr().err


def test_ice_then_warm_water(data_dir: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert calibrate(data_dir, "two-points", "--truth", "40", "--measured", "40.2,40.2,40.2") == 2
    assert "ice water first" in capsys.readouterr().err
    assert calibrate(data_dir, "ice", "--measured", "0.4,0.4,0.5") == 0
    assert calibrate(data_dir, "two-points", "--truth", "40", "--measured", "40.2,40.2,40.2") == 0
    assert [one.how for one in kept(data_dir)] == [Comparison.TWO_POINTS, Comparison.ICE]
    assert kept(data_dir)[0].offset == pytest.approx(-0.27, abs=0.01)


def test_a_trusted_instrument(data_dir: Path, capsys: pytest.CaptureFixture[str]) -> None:
    options = ("reference", "--channel", "humidity", "--truth", "75", "--truth-sd", "2", "--measured", "72,72,72")
    assert calibrate(data_dir, *options) == 0
    assert kept(data_dir)[0].offset == 3.0
    assert calibrate(data_dir, "reference", "--channel", "air", "--measured", "22,22,22") == 2
    assert "--truth" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("ice", "--measured", "0.4"), "at least 3"),
        (("ice", "--measured", "0.4,x"), "must be numbers"),
        (("ice", "--measured", "0.4,9,0.4"), "did not hold still"),
        (("ice", "--measured", "22,22,22"), "fault"),
        (("ice", "--channel", "air"), "is for the dough sensor"),
        (("reference", "--channel", "distance", "--truth", "3", "--measured", "1,1,1"), "empty vessel or a block"),
    ],
)
def test_what_cannot_be_right_is_not_kept(
    data_dir: Path, capsys: pytest.CaptureFixture[str], options: tuple[str, ...], said: str
) -> None:
    assert calibrate(data_dir, *options) == 2
    assert said in capsys.readouterr().err
    assert kept(data_dir) == []


def test_the_list_tells_all_of_them(data_dir: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert calibrate(data_dir, "list") == 0
    assert "never calibrated" in capsys.readouterr().out
    calibrate(data_dir, "ice", "--measured", "0.4,0.4,0.5")
    capsys.readouterr()
    assert calibrate(data_dir, "list") == 0
    assert "dough_temp_c  -0.40 give or take" in capsys.readouterr().out


class Packs:
    """An ear that hears what a test gives it."""

    def __init__(self, *packs: tuple[Reading, ...]) -> None:
        self.packs = list(packs)

    def hear(self, until_s: float) -> tuple[Reading, ...]:
        return self.packs.pop(0) if self.packs else ()

    def explanation(self) -> str:
        return "nobody"


def distance(seconds: float, value: float, node: NodeId = NODE, flag: Flag = Flag.OK) -> tuple[Reading, ...]:
    at = NOON + timedelta(seconds=seconds)
    return (Reading(node, "0a1b2c3d", 1, Channel.DISTANCE, value, at, at, flag=flag),)


def test_only_what_is_measured_now_by_that_sensor_counts() -> None:
    other = NodeId("urn:dev:mac:020000fffe5e0002")
    ear = Packs(
        distance(-600, 200.0), distance(1, 298.0), distance(2, 100.0, other), distance(3, 299.0),
        distance(4, 4.0, flag=Flag.OUT_OF_RANGE), distance(5, 298.5),
    )  # fmt: skip
    assert heard(ear, NODE, Channel.DISTANCE, 3, NOON, 0.0, StringIO(), Reader(UTC)) == (298.0, 299.0, 298.5)


@pytest.mark.parametrize(
    ("packs", "said"),
    [
        ((), "nobody"),
        ((distance(1, 298.0),), "only 1 of 3"),
        ((distance(1, 298.0, NodeId("urn:dev:mac:020000fffe5e0002")),), "fffe5e0002 was heard there"),
    ],
)
def test_what_was_not_heard_is_explained(packs: tuple[tuple[Reading, ...], ...], said: str) -> None:
    with pytest.raises(SourceError, match=said):
        heard(Packs(*packs), NODE, Channel.DISTANCE, 3, NOON, 0.0, StringIO(), Reader(UTC))


def test_a_line_shows_what_is_set_right_and_marks_what_is_doubtful() -> None:
    calibrations = [
        Calibration(NODE, Channel.DISTANCE, 1.5, 0.5, NOON, Comparison.BLOCK),
        Calibration(NODE, Channel.DISTANCE, 9.0, 0.5, NOON - timedelta(days=1), Comparison.EMPTY),
    ]
    pack = [
        Reading(NODE, "0a1b2c3d", 1, Channel.DOUGH_TEMP, 90.0, NOON, NOON, flag=Flag.OUT_OF_RANGE),
        Reading(NODE, "0a1b2c3d", 1, Channel.DISTANCE, 200.0, NOON, NOON),
    ]
    line = pack_line(pack, calibrations, 300.0, UTC)
    assert line == "12:00:00  dough 90.00 °C (out of range!)  distance 201.5 mm  height 98.5 mm"
    assert set_right_line(calibrations) == "set right by: distance +1.50 (block)"
    assert "never calibrated" in set_right_line([])
