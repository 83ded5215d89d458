"""What is wired to what, once: diagrams and the table in ``README.md`` are made from it and from profiles.toml.

python -m firmware_sim.boards.wiring                 writes wiring.svg beside this file: all parts, on the first board
python -m firmware_sim.boards.wiring --table         prints the table: all parts, on every board
python -m firmware_sim.boards.wiring CONFIG... DRAWING  draws the parts and pins of a board's tubs
"""

import sys
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from firmware_sim.node import settings

SVG_NAME = "wiring.svg"
PROFILES: Mapping[str, Any] = tomllib.loads((Path(__file__).parent / "profiles.toml").read_text(encoding="utf-8"))
BOARDS = tuple(PROFILES)
WIDTH = 1040
BOARD_RIGHT, PART_LEFT, PART_WIDTH = 330, 660, 350
WALL_X = 470
TOP, STEP, GAP = 214, 30, 34
PAPER, INK, MUTED, LINE, CARD, HUMID = "#FBF8F3", "#2A2420", "#6B6055", "#DDD3C5", "#FFFFFF", "#EEF3F5"
COMMON = "All pins called GND are one, and all called 3V3 are one. "
EITHER = "Take one of the rangers, not all."
BATTERY_KOHM = 100  # the lower of the two resistors; the upper one follows from the ratio
USUAL_RATIO = 2.0
CABLES = "Cables enter from below and hang in a loop first, so that drops fall off before they reach the board."
COLOURS = {"3V3": "#A8321A", "5V": "#8A4B14", "GND": "#2A2420", "data": "#1F5F8B", "clock": "#2F6B4A"}


@dataclass(frozen=True, slots=True)
class Wire:
    """One wire. ``job``: key of its pin in profiles.toml, empty for a supply pin; ``kind``: a key of COLOURS."""

    board: str
    part: str
    kind: str
    job: str = ""
    through: str = ""


@dataclass(frozen=True, slots=True)
class Part:
    """One thing that is wired to the board; ``choice`` is what a configuration calls it."""

    title: str
    what: str
    where: str
    wires: tuple[Wire, ...]
    choice: str


BATTERY = Part(
    "Battery, to be measured",
    "one cell behind a charger of its own",
    "outside, dry, beside the board",
    (
        Wire("5V or VSYS", "+", "5V"),
        Wire("battery", "+", "clock", "battery", "{upper} kΩ, then 100 kΩ to GND"),
        Wire("GND", "-", "GND"),
    ),
    "battery",
)
CALLS = Part(
    "Lamp, buzzer, button",
    "buzzer: with its own transistor",
    "where hands and ears are, dry",
    (
        Wire("lamp", "lamp +", "data", "light", "1 kΩ"),
        Wire("buzzer", "its input", "clock", "buzzer"),
        Wire("button", "button", "data", "button"),
        Wire("GND", "all the others", "GND"),
    ),
    "calls",
)
PARTS = (
    Part(
        "Air sensor",
        "digital, I2C, SHT4x class",
        "in the cabinet's air, in a vented cap",
        (
            Wire("3V3", "VDD", "3V3"),
            Wire("GND", "GND", "GND"),
            Wire("SDA", "SDA", "data", "sda"),
            Wire("SCL", "SCL", "clock", "scl"),
        ),
        "sht4x",
    ),
    Part(
        "Dough probe",
        "1-Wire, DS18B20 class, in a steel sleeve",
        "in the dough, middle of the tub",
        (
            Wire("3V3", "VDD", "3V3"),
            Wire("1-Wire", "DATA", "data", "probe", "4.7 kΩ to 3V3"),
            Wire("GND", "GND", "GND"),
        ),
        "ds18b20",
    ),
    Part(
        "Distance, by light",
        "time of flight, serial line (Modbus RTU)",
        "over the tub, looking straight down",
        (
            Wire("3V3 or 5V", "VIN", "5V", through="as its data sheet says"),
            Wire("GND", "GND", "GND"),
            Wire("TX", "RX", "data", "tx"),
            Wire("RX", "TX", "clock", "rx", "3.3 V signal"),
        ),
        "tof",
    ),
    Part(
        "or: distance, by light on I2C",
        "time of flight, VL53L1X class, on a carrier",
        "over the tub, looking straight down",
        (
            Wire("3V3", "VIN", "3V3"),
            Wire("GND", "GND", "GND"),
            Wire("SDA", "SDA", "data", "sda"),
            Wire("SCL", "SCL", "clock", "scl"),
            Wire("shut", "XSHUT", "data", "shut", "only of several"),
        ),
        "vl53l1x",
    ),
    Part(
        "or: distance, by sound",
        "ultrasonic, trigger and echo",
        "over the tub, looking straight down",
        (
            Wire("5V", "VCC", "5V"),
            Wire("trigger", "TRIG", "data", "trigger"),
            Wire("echo", "ECHO", "clock", "echo", "1 kΩ, then 2 kΩ to GND"),
            Wire("GND", "GND", "GND"),
        ),
        "ultrasonic",
    ),
    BATTERY,
    CALLS,
)


@dataclass(frozen=True, slots=True)
class Plan:
    """What one drawing shows: which board, which parts, on which pins, and the battery's voltage over its pin's.

    ``has_either``: it shows several rangers of which one is taken.
    """

    board: str
    parts: tuple[Part, ...]
    pins: Mapping[str, int]
    ratio: float = USUAL_RATIO
    has_either: bool = False

    @property
    def upper_kohm(self) -> int:
        """The upper resistor of the battery's divider: it and the lower one share the voltage."""
        return round(BATTERY_KOHM * (self.ratio - 1.0))

    def through(self, wire: Wire) -> str:
        """What stands in a wire's way."""
        return wire.through.format(upper=self.upper_kohm)


def whole_plan(board: str) -> Plan:
    """All parts that have usual pins, on those of a class of board."""
    pins = PROFILES[board]["wired"]
    return Plan(board, tuple(_wired(part, pins) for part in PARTS if part is not CALLS), pins, has_either=True)


def plan_of(tubs: Sequence[Mapping[str, str]]) -> Plan:
    """The parts and pins of the tubs on a board, by their configurations as ``node configure`` writes them."""
    first, *further = tubs
    parts, pins = _chosen(first), _pins(first)
    if {wire.job for wire in CALLS.wires} & set(pins):
        parts = (*parts, _wired(CALLS, pins))
    for number, found in enumerate(further, 2):
        own = _pins(found)
        for part in _chosen(found):
            wires = tuple(_numbered(wire, number, own, pins) for wire in part.wires)
            title = part.title.removeprefix("or: ")
            parts = (*parts, replace(part, title=f"{number}: {title[0].lower()}{title[1:]}", wires=wires))
        pins = pins | {f"{job}_{number}": pin for job, pin in own.items()}
    return Plan(first["board"], parts, pins, float(first.get("battery_ratio", USUAL_RATIO)))


def _pins(found: Mapping[str, str]) -> dict[str, int]:
    return {key.removeprefix("pin_"): int(pin) for key, pin in found.items() if key.startswith("pin_")}


def _chosen(found: Mapping[str, str]) -> tuple[Part, ...]:
    """The parts of one tub, with the wires that it has pins for."""
    pins = _pins(found)
    chosen = {found["air"], found["dough"], found["distance"]} | ({"battery"} if "battery" in pins else set())
    return tuple(_wired(part, pins) for part in PARTS if part.choice in chosen)


def _wired(part: Part, pins: Mapping[str, int]) -> Part:
    return replace(part, wires=tuple(wire for wire in part.wires if wire.job in pins or not wire.job))


def _numbered(wire: Wire, number: int, own: Mapping[str, int], before: Mapping[str, int]) -> Wire:
    """A further tub's wire. A probe on a line that is there already needs no pull-up of its own."""
    if not wire.job:
        return wire
    is_shared = wire.job == "probe" and own["probe"] in [pin for job, pin in before.items() if job.startswith("probe")]
    return replace(wire, job=f"{wire.job}_{number}", board="same wire" if is_shared else wire.board)


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


def _parts(plan: Plan) -> Iterator[str]:
    y = TOP
    for part in plan.parts:
        yield _box(PART_LEFT, y - 16, PART_WIDTH, _rows(part) * STEP + 2)
        title = part.title if plan.has_either else part.title.removeprefix("or: ")
        yield _text(PART_LEFT + 84, y + 12, title[:1].upper() + title[1:] if title != part.title else title, bold=True)
        yield _text(PART_LEFT + 84, y + 33, part.what, size=12, colour=MUTED)
        yield _text(PART_LEFT + 84, y + 51, part.where, size=12, colour=MUTED)
        levels = {}
        for number, wire in enumerate(part.wires):
            level = levels[wire.board] = y + 6 + STEP * number
            colour = COLOURS[wire.kind]
            yield _line(BOARD_RIGHT, level, PART_LEFT, level, colour)
            pin = f"GPIO {plan.pins[wire.job]}" if wire.job else ""
            yield _text(BOARD_RIGHT - 10, level + 5, wire.board, anchor="end", bold=True)
            yield _text(BOARD_RIGHT - 220, level + 5, pin, size=13, colour=MUTED)
            yield _text(PART_LEFT + 12, level + 5, wire.part, size=13)
            upper = {"echo": "1 kΩ", "lamp": "1 kΩ", "battery": f"{plan.upper_kohm} kΩ"}.get(wire.board)
            if upper is not None:  # the divider's upper half lies in the wire itself
                yield _body(410, level - 5, 20, 10)
                yield _text(420, level - 9, upper, size=13, anchor="middle")
        if "1-Wire" in levels:
            yield from _resistor(380, levels["3V3"], levels["1-Wire"], "4.7 kΩ")
        if "echo" in levels:
            yield from _resistor(370, levels["echo"], levels["GND"], "2 kΩ")
        if "battery" in levels:
            yield from _resistor(370, levels["battery"], levels["GND"], f"{BATTERY_KOHM} kΩ")
        y += _rows(part) * STEP + GAP


def _rows(part: Part) -> int:
    return max(4, len(part.wires))


def _height(parts: Sequence[Part]) -> int:
    return sum(_rows(part) * STEP + GAP for part in parts)


def height_of(plan: Plan) -> int:
    """How tall a drawing is."""
    return TOP + _height(plan.parts) + 30


def svg(plan: Plan) -> str:
    """The diagram, as the text of an SVG file."""
    height = height_of(plan)
    bottom = height - 60
    # a cell stays out of the damp: where one is drawn, the damp ends above it
    dry = [part for part in plan.parts if part.choice in (BATTERY.choice, CALLS.choice)]
    damp_end = bottom - _height(dry)
    title = PROFILES[plan.board]["title"]
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" role="img" aria-labelledby="t d" '
        'font-family="system-ui, sans-serif">',
        f'<title id="t">Wiring of a node with an {escape(title)}</title>',
        '<desc id="d">Supply and board stand outside the humid space; the sensors inside it are wired to the board at '
        "3.3 volts, each through the wall. The table in README.md says the same in words.</desc>",
        f'<rect width="{WIDTH}" height="{height}" fill="{PAPER}"/>',
        f'<rect x="{WALL_X}" y="60" width="{WIDTH - WALL_X - 20}" height="{damp_end - 60}" fill="{HUMID}"/>',
        _text(30, 36, "Wiring of a node: everything right of the dashed line is damp", size=20, bold=True),
        _text(30, 84, "Outside, dry", bold=True, colour=MUTED),
        _text(WALL_X + 20, 84, "Inside tub or cabinet: 3.3 V (one ranger 5 V), never mains", bold=True, colour=MUTED),
        _line(WALL_X, 60, WALL_X, damp_end, MUTED, dash="8 6"),
        _box(60, 102, 300, 44),
        _text(210, 121, "certified 5 V USB supply", anchor="middle", bold=True),
        _text(210, 138, "bought whole, in a dry socket", size=12, colour=MUTED, anchor="middle"),
        _line(210, 146, 210, 170, COLOURS["5V"]),
        _text(222, 163, "USB", size=13),
        _box(60, 170, BOARD_RIGHT - 60, bottom - 180),
        _text(80, 193, title, bold=True),
        *_parts(plan),
        _text(30, bottom + 24, COMMON + (EITHER if plan.has_either else ""), size=14),
        _text(30, bottom + 46, CABLES, size=14),
        "</svg>",
    ]  # fmt: skip
    return "\n".join(lines) + "\n"


def _row(cells: Sequence[str]) -> str:
    return f"| {' | '.join(cells)} |\n"


def table() -> str:
    """The wiring table, as Markdown, with the GPIO of each board."""
    heads = ["part", "its pin", "board", *(f"`{board}`" for board in BOARDS), "through"]
    rows = [_row(heads), _row(["---"] * len(heads))]
    for part in PARTS:
        for wire in part.wires:
            pins = [str(PROFILES[board]["wired"].get(wire.job, "any")) if wire.job else "-" for board in BOARDS]
            through = whole_plan(BOARDS[0]).through(wire) or "-"
            rows.append(_row([part.title, wire.part, wire.board, *pins, through]))
    return "".join(rows)


def main(arguments: list[str]) -> None:
    """Write a diagram, or print the table."""
    if arguments == ["--table"]:
        print(table(), end="")
    elif arguments:
        *configs, drawing = map(Path, arguments)
        drawing.write_text(svg(plan_of([settings.read(config) for config in configs])), encoding="utf-8")
    else:
        (Path(__file__).parent / SVG_NAME).write_text(svg(whole_plan(BOARDS[0])), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
