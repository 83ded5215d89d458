"""A board asks a name server for an address, a turn at a time: here a real socket on the loopback answers, or not."""

import socket
import struct
from collections.abc import Iterator

import pytest
from harness import wait_until

from firmware_sim.node import link_mqtt, names


class Server:
    """A name server that says what it is told."""

    def __init__(self) -> None:
        self._sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._sock.bind(("127.0.0.1", 0))
        self._sock.settimeout(5.0)
        self.port = self._sock.getsockname()[1]

    def heard(self) -> tuple[bytes, object]:
        return self._sock.recvfrom(600)

    def say(self, question: bytes, where: object, *records: bytes, code: int = 0) -> None:
        head = question[:2] + bytes([0x81, 0x80 | code]) + question[4:6] + struct.pack(">HHH", len(records), 0, 0)
        self._sock.sendto(head + question[12:] + b"".join(records), where)  # type: ignore[arg-type]

    def close(self) -> None:
        self._sock.close()


def record(kind: int, content: bytes) -> bytes:
    return b"\xc0\x0c" + struct.pack(">HHIH", kind, 1, 60, len(content)) + content


@pytest.fixture
def server() -> Iterator[Server]:
    made = Server()
    yield made
    made.close()


@pytest.fixture
def asking(server: Server) -> Iterator[names.Names]:
    made = names.Names(lambda: "127.0.0.1", server.port)
    yield made
    made._close()


def test_an_address_needs_no_question(asking: names.Names) -> None:
    assert asking.find("192.0.2.20", 0) == "192.0.2.20"
    assert not names.is_address("192.0.2.256")
    assert not names.is_address("bakery.lan")


def test_an_answer_is_found_behind_another_name(asking: names.Names, server: Server) -> None:
    assert asking.find("bakery.lan", 0) is None
    question, where = server.heard()
    assert b"\x06bakery\x03lan\0\0\1\0\1" in question
    server.say(question, where, record(5, b"\x04oven\xc0\x13"), record(1, bytes([192, 0, 2, 20])))
    wait_until(lambda: asking.find("bakery.lan", 10) == "192.0.2.20", "the answer is read")


def test_a_question_is_said_again_each_second_and_then_given_up(asking: names.Names, server: Server) -> None:
    for second in range(4):
        assert asking.find("bakery.lan", 1000 * second) is None
        assert asking.find("bakery.lan", 1000 * second + 500) is None
        server.heard()
    with pytest.raises(OSError, match="no answer from the name server"):
        asking.find("bakery.lan", 4000)
    assert asking.find("bakery.lan", 5000) is None, "and the next try begins anew"
    server.heard()


def test_a_name_that_nobody_has_is_an_error(asking: names.Names, server: Server) -> None:
    asking.find("nowhere.lan", 0)
    question, where = server.heard()
    server.say(question, where, code=3)
    with pytest.raises(OSError, match="no host of that name"):
        wait_until(lambda: asking.find("nowhere.lan", 10) is not None, "the answer is read")


def test_what_answers_no_question_of_ours_is_passed_over(asking: names.Names, server: Server) -> None:
    asking.find("bakery.lan", 0)
    question, where = server.heard()
    other = bytes([question[0] ^ 1]) + question[1:]
    server.say(other, where, record(1, bytes([192, 0, 2, 66])))
    for cut in (b"", question[:11], question[:2] + b"\x81\x80" + question[4:20]):
        server._sock.sendto(cut, where)  # type: ignore[arg-type]
    server.say(question, where, record(1, bytes([192, 0, 2, 20])))
    found: list[str] = []

    def is_found() -> bool:
        address = asking.find("bakery.lan", 10)
        found.extend([address] if address else [])
        return bool(found)

    wait_until(is_found, "the right answer is read")
    assert found == ["192.0.2.20"]


@pytest.mark.parametrize("host", ["", "a..b", "x" * 64 + ".lan"])
def test_what_is_no_name_is_refused(asking: names.Names, host: str) -> None:
    with pytest.raises(ValueError, match="name"):
        asking.find(host, 0)


def test_the_link_turns_on_while_a_name_is_looked_up() -> None:
    asked: list[int] = []

    def find(host: str, now_ms: int) -> str | None:
        asked.append(now_ms)
        if now_ms > 300:
            raise OSError("no answer from the name server")
        return None

    link = link_mqtt.MqttLink("bakery.lan", 1883, "mac-02", "p", None, find)
    for now_ms in range(0, 500, 100):
        link.poll(now_ms)
    assert asked == [0, 100, 200, 300, 400]
    assert link.fault == "no answer from the name server"
    assert not link.is_up
