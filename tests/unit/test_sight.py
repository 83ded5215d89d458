"""The blind zone of a distance sensor: a tub that it could not watch is refused, with the height to hang it at."""

from dataclasses import replace
from datetime import UTC
from pathlib import Path
from typing import Any

import pytest
from collector_bench import NODE, TUB, Bench, StepClock, batch, pack
from harness import START

from dashboard import actions
from monitor.cli import main
from monitor.collector.loop import Collector
from monitor.dough.outlook import Outlook, State
from monitor.errors import ConfigError
from monitor.node.settings import NodeSettings, Ranger, write_settings
from monitor.node.sights import Sights, require_seen
from monitor.recipe.batch import Batch, Target
from monitor.recipe.sight import Sight, unseen
from monitor.store.store import Store
from monitor.wire.readings import Channel, Flag
from monitor.wording.reader import Reader

CLOSED = Sight(250.0, 4000.0, 50.0)
READER = Reader(UTC)
FILE = """
name = "Plain tub"
stage = "first rise"
target_rise_pct = 75
[vessel]
shape = "round"
base_mm = 180
top_mm = 210
depth_mm = 250
sensor_to_base_mm = {height}
[nodes]
distance_mm = "{node}"
"""


def told(folder: Path, **changes: Any) -> Path:
    write_settings(folder, "tub-3", NodeSettings(NODE, **{"distance": Ranger.ULTRASONIC, **changes}))
    return folder


@pytest.mark.parametrize(
    ("height_mm", "start_ml", "mount_mm"),
    [
        (300.0, None, 500.0),
        (499.0, None, 500.0),
        (500.0, None, None),
        (500.0, 6000.0, 630.0),  # doubled and more it stands above the rim, and must be seen there
    ],
)
def test_the_rim_and_the_target_must_be_seen(height_mm: float, start_ml: float | None, mount_mm: float | None) -> None:
    def hung(at_mm: float | None) -> Batch:
        tub = replace(TUB, sensor_to_base_mm=at_mm)
        return batch(vessel=tub, target=Target(100.0), start_volume_ml=start_ml)

    found = unseen(CLOSED, hung(height_mm))
    assert (None if found is None else found.mount_mm) == mount_mm
    if found is not None:
        assert unseen(CLOSED, hung(mount_mm)) is None


def test_a_base_beyond_what_it_sees_and_a_height_that_nobody_knows() -> None:
    far = unseen(Sight(20.0, 250.0, 25.0), batch())
    assert far is not None
    assert far.mount_mm is None
    assert unseen(CLOSED, batch(vessel=replace(TUB, sensor_to_base_mm=None))) is None


def test_batch_start_refuses_a_tub_in_the_blind_zone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told(tmp_path)
    file = tmp_path / "tub.toml"
    file.write_text(FILE.format(height=300, node=NODE))
    assert main(["batch", "start", str(file), "--data-dir", str(tmp_path)]) == 2
    said = capsys.readouterr().err
    assert "sees nothing nearer than 250 mm, and the dough may come to 50 mm of it" in said
    assert "hang it at least 500 mm over the base" in said
    file.write_text(FILE.format(height=500, node=NODE))
    assert main(["batch", "start", str(file), "--data-dir", str(tmp_path)]) == 0
    told(tmp_path, least_distance_mm=30.0)
    file.write_text(FILE.format(height=300, node=NODE))
    assert main(["batch", "start", str(file), "--data-dir", str(tmp_path)]) == 0


def test_calibrating_the_empty_tub_refuses_it_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told(tmp_path)
    calibrate = ["node", "calibrate", "tub-3", "empty", "--data-dir", str(tmp_path), "--measured"]
    assert main([*calibrate, "200.1,200.2,200.0"]) == 2  # held at what is the least of many such parts
    assert "hang it at least 250 mm" in capsys.readouterr().err
    assert main([*calibrate, "300.1,300.2,300.0", "--depth", "250"]) == 2
    assert "hang it at least 500 mm" in capsys.readouterr().err
    assert main([*calibrate, "510.1,510.2,510.0", "--depth", "250"]) == 0
    assert "it sees dough of up to 260 mm over the base, on a spot that is 476 mm wide" in capsys.readouterr().out
    with Store(tmp_path / "proofing.sqlite") as store:
        assert len(store.calibrations.all(NODE)) == 1


def test_the_start_screen_refuses_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    told(tmp_path)
    with pytest.raises(ConfigError, match="at least 500 mm"):
        require_seen(batch(), tmp_path, READER)
    said: list[str] = []
    monkeypatch.setattr(actions, "say_now", lambda words, duration="short": said.append(words))
    write = actions.Write(Store(tmp_path / "proofing.sqlite"), START, READER)
    with write.store, pytest.raises(ConfigError, match="at least 500 mm"):
        actions.start_batch.__wrapped__(write, batch(), None, None)  # type: ignore[attr-defined]


def test_a_node_of_another_kind_and_a_stranger_are_let_be(tmp_path: Path) -> None:
    require_seen(batch(), tmp_path, READER)
    told(tmp_path, distance=Ranger.TOF)
    require_seen(batch(), tmp_path, READER)
    told(tmp_path, distance=Ranger.NONE)
    require_seen(batch(), tmp_path, READER)
    require_seen(batch(nodes=()), tmp_path, READER)


def test_a_distance_held_at_the_least_is_a_fault_and_never_a_level(store: Store, tmp_path: Path) -> None:
    told(tmp_path)
    bench = Bench(store, StepClock())
    running = store.batches.add(batch())
    sights = Sights(tmp_path, bench.clock)
    bench.collector = Collector(
        store, bench.inbox, bench.clock, lambda batch, track, at, **_: Outlook(at, State.RISING),
        rules=bench.collector._running._rules, reader=READER, sights=sights.of,
    )  # fmt: skip
    for seq, distance_m in enumerate((0.3, 0.2505, 0.25, 0.2), 1):
        bench.frame(pack(seq, distance_m=distance_m))
    bench.turn()
    flags = [each.flag for each in store.readings.of(running) if each.channel is Channel.DISTANCE]
    assert flags == [Flag.OK, Flag.OK, Flag.TOO_NEAR, Flag.TOO_NEAR]
    assert bench.faults() == {(NODE, "too near"): 2}


def test_what_a_node_sees_is_read_anew_when_its_file_changes(tmp_path: Path) -> None:
    clock = StepClock()
    sights = Sights(tmp_path, clock)
    assert sights.of(NODE) is None
    told(tmp_path)
    (tmp_path / "nodes" / "odd.txt").write_text("no node")
    clock.second += 60.0
    assert sights.of(NODE) == CLOSED
    told(tmp_path, least_distance_mm=200.0)
    clock.second += 60.0
    found = sights.of(NODE)
    assert found is not None
    assert found.least_mm == 200.0
