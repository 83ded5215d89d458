"""A node's board and link made of paper, with time that is put on by hand."""

from firmware_sim.node import packet

URN = "urn:dev:mac:020000fffe5e0001"
BOOT = "1a2b3c4d"
PERIOD = 1 << 30


class PaperBoard:
    """A hal whose time stands until it is put on; its ticks wrap soon."""

    urn = URN
    boot = BOOT

    def __init__(self) -> None:
        self.real_ms = 0
        self.dough_ms = 0
        self.air: tuple[int, int] | None = (2531, 7620)
        self.dough: int | None = 2488
        self.shots: list[int | None] = [2124]
        self.sensors = self
        self.settle_ms = 0
        self.well: tuple[int | None, int | None] = (None, None)

    def health(self) -> tuple[int | None, int | None]:
        return self.well

    def start(self) -> int:
        return self.settle_ms

    def ticks_ms(self) -> int:
        return (self.real_ms - 2000) % PERIOD

    def dough_ticks_ms(self) -> int:
        return (self.dough_ms - 90_000) % PERIOD

    def ticks_diff(self, later: int, earlier: int) -> int:
        return (later - earlier + PERIOD // 2) % PERIOD - PERIOD // 2

    def read_air(self) -> tuple[int, int] | None:
        return self.air

    def read_dough(self) -> int | None:
        return self.dough

    def read_distance(self) -> int | None:
        self.shots.append(self.shots.pop(0))
        return self.shots[-1]


class PaperLink:
    """A link that keeps what was sent and hears what it is told."""

    def __init__(self) -> None:
        self.is_up = True
        self.broke = False
        self.sent: list[bytes] = []
        self.heard: list[bytes] = []
        self.has_room = True

    def poll(self, now_ms: int) -> None:
        pass

    def send(self, frame: bytes) -> bool:
        if self.has_room:
            self.sent.append(frame)
        return self.has_room

    def send_report(self, line: bytes) -> bool:
        self.sent.append(line)
        return True

    def take_acks(self) -> list[bytes]:
        heard, self.heard = self.heard, []
        return heard

    def close(self, now_ms: int) -> None:
        self.is_up = False

    def acknowledge(self, frame: bytes) -> None:
        head = b"!" + frame[1:].rsplit(b" [", 1)[0]
        self.heard.append(head + b" %08x" % packet.crc32(head))


def put_on(board: PaperBoard, ms: int, speed: int = 60) -> None:
    board.real_ms += ms
    board.dough_ms += ms * speed
