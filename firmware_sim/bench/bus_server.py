"""Simulated buses for a node in another process: one line of text a call, one line back, over loopback."""

import socket
import threading
from collections.abc import Callable
from contextlib import suppress

from firmware_sim.bench.chips import ChipBuses
from firmware_sim.bench.power import Health

HOST = "127.0.0.1"


class BusServer:
    """Serves the chips of one board on a free port from :meth:`start` to :meth:`stop`; one node at a time.

    Parameters
    ----------
    wired
        Used by the server's thread only, but for the faults, which may be changed from anywhere.
    health
        How the board itself is, as its hal is to tell it.
    """

    def __init__(self, wired: ChipBuses, health: Callable[[], Health] = lambda: (None, None)) -> None:
        self._wired = wired
        self._health = health
        self._server = socket.create_server((HOST, 0))
        self.address = f"{HOST}:{self._server.getsockname()[1]}"
        self._is_stopping = threading.Event()
        self._board: socket.socket | None = None
        self._thread = threading.Thread(target=self._serve, name="buses")
        self.fault: Exception | None = None  # of this program; the node sees its bench vanish

    def start(self) -> None:
        """Begin to answer."""
        self._thread.start()

    def stop(self) -> None:
        """Leave, and let the node see it."""
        self._is_stopping.set()
        with suppress(OSError):  # wakes the thread that waits for a board
            socket.create_connection(self._server.getsockname()[:2]).close()
        board = self._board
        if board is not None:
            with suppress(OSError):
                board.shutdown(socket.SHUT_RDWR)
        self._thread.join()
        self._server.close()

    def _serve(self) -> None:
        while not self._is_stopping.is_set():
            board, _ = self._server.accept()
            self._board = board
            with board, suppress(ConnectionError):
                board.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                self._answer_all(board)

    def _answer_all(self, board: socket.socket) -> None:
        with board.makefile("rb") as asked:
            for line in asked:
                try:
                    answer = self._call(line.decode("ascii").split())
                except OSError as err:  # of a bus: the node's own business
                    answer = f"!{err.errno}"
                except Exception as err:
                    self.fault = err
                    raise
                board.sendall(answer.encode("ascii") + b"\n")

    def _call(self, words: list[str]) -> str:
        wired = self._wired
        match words:
            case ["writeto", address, data]:
                wired.i2c_bus.writeto(int(address), bytes.fromhex(data))
            case ["readfrom_into", address, size]:
                buffer = bytearray(int(size))
                wired.i2c_bus.readfrom_into(int(address), buffer)
                return buffer.hex()
            case ["reset"]:
                return str(int(wired.onewire_bus.reset()))
            case ["readbit"]:
                return str(wired.onewire_bus.readbit())
            case ["writebit", bit]:
                wired.onewire_bus.writebit(int(bit))
            case ["readbyte"]:
                return str(wired.onewire_bus.readbyte())
            case ["writebyte", byte]:
                wired.onewire_bus.writebyte(int(byte))
            case ["write", data]:
                wired.tof.write(bytes.fromhex(data))
            case ["read", most]:
                return (wired.tof.read(int(most)) or b"").hex()
            case ["echo_us", timeout_us]:
                return str(wired.echo.echo_us(int(timeout_us)))
            case ["ticks_ms"]:
                return str(wired.clock.ticks_ms())
            case ["health"]:
                return " ".join("-" if value is None else str(value) for value in self._health())
            case ["sleep_ms", ms]:
                wired.clock.sleep_ms(int(ms))
            case _:
                raise ValueError(f"no such call: {words}")
        return "ok"
