"""The serial source on a real pseudo-terminal: lines in, acknowledgements out, unplugged and plugged in again."""

import logging
import queue
import re
from collections.abc import Callable, Iterator
from datetime import timedelta
from types import SimpleNamespace
from zlib import crc32

import pytest
from harness import PATIENCE_S, START, PtyPair, SetClock, next_of, wait_until

from monitor.errors import ConfigError, SourceError
from monitor.sources import serial as source_module
from monitor.sources.intake import Fault, FaultLog, Frame, Item, Status
from monitor.sources.serial import SerialSource, found_ports, port_of
from monitor.store.store import Store
from monitor.wire.frames import acknowledgement, decode, readings
from monitor.wire.readings import Channel, NodeId

NODE = "urn:dev:mac:020000fffe5e0001"


def frame(seq: int, value: float = 25.31) -> bytes:
    checked = f'@0a1b2c3d {seq} [{{"bn":"{NODE}_","bt":-1,"n":"air","u":"Cel","v":{value}}}]'.encode()
    return checked + b" %08x" % crc32(checked)


@pytest.fixture
def items() -> "queue.Queue[Item]":
    return queue.Queue(100)


@pytest.fixture
def source(pty_pair: PtyPair, clock: SetClock, items: "queue.Queue[Item]") -> Iterator[SerialSource]:
    made = SerialSource(str(pty_pair.path), clock, items)
    made.start()
    status = items.get(timeout=PATIENCE_S)
    assert isinstance(status, Status)
    assert (status.node_key, status.is_online) == (None, True)
    yield made
    made.stop()


@pytest.mark.usefixtures("source")
def test_line_in_pieces_is_one_frame(pty_pair: PtyPair, clock: SetClock, items: "queue.Queue[Item]") -> None:
    line = frame(1)
    pty_pair.send(line[:10])
    pty_pair.send(line[10:] + b"\r\n" + frame(2) + b"\n")
    first, second = items.get(timeout=PATIENCE_S), items.get(timeout=PATIENCE_S)
    assert (first.data, second.data) == (line, frame(2))
    assert (first.arrived_at, first.source, first.node_key) == (clock.now(), f"serial:{pty_pair.path}", None)


@pytest.mark.usefixtures("source")
def test_node_hears_only_of_packs_that_are_on_the_disk(
    pty_pair: PtyPair, items: "queue.Queue[Item]", store: Store
) -> None:
    pty_pair.send(frame(1) + b"\n" + frame(2) + b"\n")
    _, second = next_of(items, Frame), next_of(items, Frame)
    store.readings.add(readings(decode(second.data), second.arrived_at))
    second.acknowledge(acknowledgement("0a1b2c3d", 2))
    # the first thing the node hears is about pack 2: of pack 1, received but not stored, nothing was said
    assert pty_pair.receive(b"\n") == acknowledgement("0a1b2c3d", 2) + b"\n"
    with Store(store.path) as other:
        kept = other.readings.between(NodeId(NODE), Channel.AIR_TEMP, START - timedelta(days=1), START)
    assert [reading.seq for reading in kept] == [2]


@pytest.mark.usefixtures("source")
def test_noise_and_endless_lines_are_counted_and_good_frames_between_them_come(
    pty_pair: PtyPair, items: "queue.Queue[Item]", monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(source_module, "FAULTS_EVERY_S", 0.0)
    good, counted = [], {"noise": 0, "too long": 0}
    pty_pair.send(b"boot: two sensors found\n\xff\xfe\x00\n\n" + frame(1) + b"\n")
    for _ in range(1000):
        pty_pair.send(b"x" * 1000)
    pty_pair.send(b"\n" + frame(2) + b"\n")
    while len(good) < 2 or sum(counted.values()) < 3:
        item = items.get(timeout=PATIENCE_S)
        if isinstance(item, Fault):
            counted[item.reason] += item.n
        elif isinstance(item, Frame):
            good.append(item.data)
    assert good == [frame(1), frame(2)]
    assert counted == {"noise": 2, "too long": 1}


@pytest.mark.usefixtures("source")
def test_line_that_is_lost_is_opened_again_at_the_same_path(
    pty_pair: PtyPair, items: "queue.Queue[Item]", caplog: pytest.LogCaptureFixture
) -> None:
    pty_pair.send(frame(1) + b"\n" + frame(2)[:20])
    lost = next_of(items, Frame)
    pty_pair.unplug()
    down = next_of(items, Status)
    assert not down.is_online
    lost.acknowledge(acknowledgement("0a1b2c3d", 1))  # into the void, and no error
    pty_pair.plug_in()
    up = next_of(items, Status)
    assert up.is_online
    pty_pair.send(frame(3) + b"\n")
    again = next_of(items, Frame)
    assert again.data == frame(3)  # nothing left over from the half line before
    again.acknowledge(acknowledgement("0a1b2c3d", 3))
    assert pty_pair.receive(b"\n") == acknowledgement("0a1b2c3d", 3) + b"\n"
    assert len([record for record in caplog.records if "lost source=" in record.message]) == 1


def test_port_that_is_not_there_is_waited_for_and_named_once(
    pty_pair: PtyPair, clock: SetClock, items: "queue.Queue[Item]",
    caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.setattr(source_module, "FIRST_RETRY_S", 0.01)
    monkeypatch.setattr(source_module, "LAST_RETRY_S", 0.01)
    tries: list[str] = []

    def counted(spec: str) -> str:
        tries.append(spec)
        return spec

    monkeypatch.setattr(source_module, "port_of", counted)
    pty_pair.unplug()
    pty_pair.path.unlink()
    source = SerialSource(str(pty_pair.path), clock, items)
    source.start()
    wait_until(lambda: len(tries) > 5, "the source tries again and again")
    pty_pair.plug_in()
    assert isinstance(status := items.get(timeout=PATIENCE_S), Status)
    assert status.is_online
    source.stop()
    waiting = [record.getMessage() for record in caplog.records if "waiting source=" in record.getMessage()]
    assert len(waiting) == 1
    assert "cannot be opened" in waiting[0]
    assert str(pty_pair.path) in waiting[0]


@pytest.mark.usefixtures("source")
def test_second_reader_of_a_line_is_kept_out(
    pty_pair: PtyPair, clock: SetClock, items: "queue.Queue[Item]", caplog: pytest.LogCaptureFixture
) -> None:
    others: queue.Queue[Item] = queue.Queue()
    second = SerialSource(str(pty_pair.path), clock, others)
    second.start()
    wait_until(lambda: "waiting source=" in caplog.text, "the second reader is refused")
    second.stop()
    pty_pair.send(frame(1) + b"\n")
    assert isinstance(next_of(items, Frame), Frame)
    assert others.empty()


def test_full_queue_makes_the_source_wait_and_loses_nothing(pty_pair: PtyPair, clock: SetClock) -> None:
    narrow: queue.Queue[Item] = queue.Queue(1)
    source = SerialSource(str(pty_pair.path), clock, narrow)
    source.start()
    wait_until(narrow.full, "the status fills the queue")
    for seq in range(1, 21):
        pty_pair.send(frame(seq) + b"\n")
    assert isinstance(narrow.get(timeout=PATIENCE_S), Status)
    got = [narrow.get(timeout=PATIENCE_S) for _ in range(20)]
    assert [item.data for item in got if isinstance(item, Frame)] == [frame(seq) for seq in range(1, 21)]
    source.stop()


def test_source_that_waits_at_a_full_queue_can_be_stopped(pty_pair: PtyPair, clock: SetClock) -> None:
    narrow: queue.Queue[Item] = queue.Queue(1)
    source = SerialSource(str(pty_pair.path), clock, narrow)
    source.start()
    wait_until(narrow.full, "the status fills the queue")
    pty_pair.send(frame(1) + b"\n")
    source.stop()  # hangs here when it cannot


# -- ports by hardware id (the system lists no pseudo-terminals, so the list is made up) -------------------------------


@pytest.fixture
def ports(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    def plug(*found: tuple[str, int | None, int | None, str | None]) -> None:
        listed = [
            SimpleNamespace(device=device, vid=vid, pid=pid, serial_number=number) for device, vid, pid, number in found
        ]
        monkeypatch.setattr("monitor.sources.serial.list_ports.comports", lambda: listed)

    return plug


TWO_BOARDS = (
    ("/dev/ttyACM0", 0x1209, 0x0001, "tub3"),
    ("/dev/ttyS0", None, None, None),
    ("/dev/ttyACM1", 0x1209, 0x0001, "tub4"),
    ("/dev/ttyUSB0", 0x1209, 0x0002, None),
)


def test_port_is_found_by_hardware_id_wherever_it_is_plugged_in(ports: Callable[..., None]) -> None:
    ports(*TWO_BOARDS)
    assert port_of("hwid:1209:0002") == "/dev/ttyUSB0"
    assert port_of("hwid:1209:1:tub4") == "/dev/ttyACM1"
    assert port_of("/dev/ttyS0") == "/dev/ttyS0"
    assert port_of("socket://127.0.0.1:7000") == "socket://127.0.0.1:7000"


@pytest.mark.parametrize(
    ("spec", "told"),
    [("hwid:1209:0001", "hwid:1209:0001:tub3, hwid:1209:0001:tub4"), ("hwid:1209:0001:tub9", "no such device")],
)
def test_hardware_id_of_none_or_several_is_explained(ports: Callable[..., None], spec: str, told: str) -> None:
    ports(*TWO_BOARDS)
    with pytest.raises(SourceError, match=re.escape(told)):
        port_of(spec)


@pytest.mark.parametrize("spec", ["hwid:", "hwid:1209", "hwid:tub:three"])
def test_malformed_hardware_id_is_refused_before_anything_starts(
    clock: SetClock, items: "queue.Queue[Item]", spec: str
) -> None:
    with pytest.raises(ConfigError, match="hwid:VID:PID"):
        SerialSource(spec, clock, items)


def test_ports_are_listed_with_the_id_to_name_them_by(ports: Callable[..., None]) -> None:
    ports(*TWO_BOARDS[:2])
    assert found_ports() == ["/dev/ttyACM0 (hwid:1209:0001:tub3)", "/dev/ttyS0"]


# -- the fault log -----------------------------------------------------------------------------------------------------


def test_repeated_fault_is_said_once_then_counted(caplog: pytest.LogCaptureFixture) -> None:
    now_s = [0.0]
    clock = SimpleNamespace(real_s=lambda: now_s[0])
    told = FaultLog(logging.getLogger("test.faults"), clock)  # type: ignore[arg-type]
    for _ in range(100):
        told.note("serial:/dev/x", NODE, "checksum", "does not fit")
    told.note("serial:/dev/x", NODE, "unit", "in 'F'\nforged line")
    now_s[0] = 61.0
    told.note("serial:/dev/x", NODE, "checksum")
    lines = [record.getMessage() for record in caplog.records]
    assert len(lines) == 3
    assert f"node='{NODE}' reason='checksum' count=1 " in lines[0]
    assert "\n" not in lines[1]
    assert "count=100 " in lines[2]
