"""What is wired to what, once: the diagram ``wiring.svg`` and the table in ``README.md`` are made from it.

python -m firmware_sim.boards.wiring            writes wiring.svg beside this file
python -m firmware_sim.boards.wiring --table    prints the table
"""

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from xml.sax.saxutils import escape

SVG_NAME = "wiring.svg"
WIDTH, HEIGHT = 1040, 860
BOARD_RIGHT, PART_LEFT, PART_WIDTH = 330, 660, 350
WALL_X = 470
TOP, STEP, GAP = 214, 30, 34
PAPER, INK, MUTED, LINE, CARD, HUMID = "#FBF8F3", "#2A2420", "#6B6055", "#DDD3C5", "#FFFFFF", "#EEF3F5"
COMMON = "All pins called GND are one, and all called 3V3 are one. Take one of the two rangers, not both."
CABLES = "Cables enter from below and hang in a loop first, so that drops fall off before they reach the board."
COLOURS = {"3V3": "#A8321A", "5V": "#8A4B14", "GND": "#2A2420", "data": "#1F5F8B", "clock": "#2F6B4A"}


@dataclass(frozen=True, slots=True)
class Wire:
    """One wire. ``esp32`` and ``rp2040`` are GPIO numbers, None for a supply pin; ``kind`` is a key of COLOURS."""

    board: str
    part: str
    kind: str
    esp32: int | None = None
    rp2040: int | None = None
    through: str = ""


@dataclass(frozen=True, slots=True)
class Part:
    """One thing that is wired to the board."""

    title: str
    what: str
    where: str
    wires: tuple[Wire, ...]


PARTS = (
    Part(
        "Air sensor",
        "digital, I2C, SHT4x class",
        "in the cabinet's air, in a vented cap",
        (
            Wire("3V3", "VDD", "3V3"),
            Wire("GND", "GND", "GND"),
            Wire("SDA", "SDA", "data", 21, 4),
            Wire("SCL", "SCL", "clock", 22, 5),
        ),
    ),
    Part(
        "Dough probe",
        "1-Wire, DS18B20 class, in a steel sleeve",
        "in the dough, middle of the tub",
        (
            Wire("3V3", "VDD", "3V3"),
            Wire("1-Wire", "DATA", "data", 27, 15, "4.7 kΩ to 3V3"),
            Wire("GND", "GND", "GND"),
        ),
    ),
    Part(
        "Distance, by light",
        "time of flight, serial line (Modbus RTU)",
        "over the tub, looking straight down",
        (
            Wire("3V3 or 5V", "VIN", "5V", through="as its data sheet says"),
            Wire("GND", "GND", "GND"),
            Wire("TX", "RX", "data", 17, 8),
            Wire("RX", "TX", "clock", 16, 9, "3.3 V signal"),
        ),
    ),
    Part(
        "or: distance, by sound",
        "ultrasonic, trigger and echo",
        "over the tub, looking straight down",
        (
            Wire("5V", "VCC", "5V"),
            Wire("trigger", "TRIG", "data", 25, 13),
            Wire("echo", "ECHO", "clock", 26, 14, "1 kΩ, then 2 kΩ to GND"),
            Wire("GND", "GND", "GND"),
        ),
    ),
)


def _text(
    x: float, y: float, text: str, *, size: int = 15, colour: str = INK, anchor: str = "start", bold: bool = False
) -> str:
    weight = ' font-weight="600"' if bold else ""
    place = f'x="{x:g}" y="{y:g}" font-size="{size}" fill="{colour}" text-anchor="{anchor}"'
    return f"<text {place}{weight}>{escape(text)}</text>"


def _box(x: float, y: float, width: float, height: float, fill: str = CARD) -> str:
    place = f'x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}"'
    return f'<rect {place} rx="8" fill="{fill}" stroke="{LINE}" stroke-width="1.5"/>'


def _line(x1: float, y1: float, x2: float, y2: float, colour: str, *, dash: str = "") -> str:
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path d="M{x1:g} {y1:g}L{x2:g} {y2:g}" stroke="{colour}" stroke-width="2.5" fill="none"{dashed}/>'


def _body(x: float, y: float, width: float, height: float) -> str:
    """A resistor's body."""
    place = f'x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}"'
    return f'<rect {place} fill="{CARD}" stroke="{INK}" stroke-width="2"/>'


def _resistor(x: float, y1: float, y2: float, label: str) -> Iterator[str]:
    """A resistor between two wires one above the other, with a dot where it joins each."""
    middle = (y1 + y2) / 2
    yield _line(x, y1, x, y2, INK)
    yield _body(x - 5, middle - 9, 10, 18)
    for y in (y1, y2):
        yield f'<circle cx="{x:g}" cy="{y:g}" r="4" fill="{INK}"/>'
    yield _text(x + 10, middle + 5, label, size=13)


def _parts() -> Iterator[str]:
    y = TOP
    for part in PARTS:
        yield _box(PART_LEFT, y - 16, PART_WIDTH, 4 * STEP + 2)
        yield _text(PART_LEFT + 84, y + 12, part.title, bold=True)
        yield _text(PART_LEFT + 84, y + 33, part.what, size=12, colour=MUTED)
        yield _text(PART_LEFT + 84, y + 51, part.where, size=12, colour=MUTED)
        levels = {}
        for number, wire in enumerate(part.wires):
            level = levels[wire.board] = y + 6 + STEP * number
            colour = COLOURS[wire.kind]
            yield _line(BOARD_RIGHT, level, PART_LEFT, level, colour)
            pins = "" if wire.esp32 is None else f"GPIO {wire.esp32} | {wire.rp2040}"
            yield _text(BOARD_RIGHT - 10, level + 5, wire.board, anchor="end", bold=True)
            yield _text(BOARD_RIGHT - 220, level + 5, pins, size=13, colour=MUTED)
            yield _text(PART_LEFT + 12, level + 5, wire.part, size=13)
            if wire.board == "echo":  # the divider's upper half lies in the wire itself
                yield _body(410, level - 5, 20, 10)
                yield _text(420, level - 9, "1 kΩ", size=13, anchor="middle")
        if "1-Wire" in levels:
            yield from _resistor(380, levels["3V3"], levels["1-Wire"], "4.7 kΩ")
        if "echo" in levels:
            yield from _resistor(370, levels["echo"], levels["GND"], "2 kΩ")
        y += 4 * STEP + GAP


def svg() -> str:
    """The diagram, as the text of an SVG file."""
    bottom = HEIGHT - 60
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-labelledby="t d" '
        'font-family="system-ui, sans-serif">',
        '<title id="t">Wiring of a node</title>',
        '<desc id="d">Supply and board stand outside the humid space; the sensors inside it are wired to the board at '
        "3.3 volts, each through the wall. The table in README.md says the same in words.</desc>",
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="{PAPER}"/>',
        f'<rect x="{WALL_X}" y="60" width="{WIDTH - WALL_X - 20}" height="{bottom - 60}" fill="{HUMID}"/>',
        _text(30, 36, "Wiring of a node: everything right of the dashed line is damp", size=20, bold=True),
        _text(30, 84, "Outside, dry", bold=True, colour=MUTED),
        _text(WALL_X + 20, 84, "Inside tub or cabinet: 3.3 V (one ranger 5 V), never mains", bold=True, colour=MUTED),
        _line(WALL_X, 60, WALL_X, bottom, MUTED, dash="8 6"),
        _box(60, 102, 300, 44),
        _text(210, 121, "certified 5 V USB supply", anchor="middle", bold=True),
        _text(210, 138, "bought whole, in a dry socket", size=12, colour=MUTED, anchor="middle"),
        _line(210, 146, 210, 170, COLOURS["5V"]),
        _text(222, 163, "USB", size=13),
        _box(60, 170, BOARD_RIGHT - 60, bottom - 180),
        _text(80, 193, "Board", bold=True),
        _text(140, 193, "pins of esp32 | rp2040", size=13, colour=MUTED),
        *_parts(),
        _text(30, bottom + 24, COMMON, size=14),
        _text(30, bottom + 46, CABLES, size=14),
        "</svg>",
    ]  # fmt: skip
    return "\n".join(lines) + "\n"


def table() -> str:
    """The wiring table, as Markdown."""
    lines = ["| part | its pin | board | `esp32` | `rp2040` | through |", "| --- | --- | --- | --- | --- | --- |"]
    for part in PARTS:
        for wire in part.wires:
            esp32, rp2040 = (f"GPIO {pin}" if pin is not None else wire.board for pin in (wire.esp32, wire.rp2040))
            through = wire.through or "-"
            lines.append(f"| {part.title} | {wire.part} | {wire.board} | {esp32} | {rp2040} | {through} |")
    return "\n".join(lines) + "\n"


def main(arguments: list[str]) -> None:
    """Write the diagram, or print the table."""
    if arguments == ["--table"]:
        print(table(), end="")
    else:
        (Path(__file__).parent / SVG_NAME).write_text(svg(), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
