"""The build page: diagram, table, configuration and firmware say the same."""

import re
from pathlib import Path
from xml.etree import ElementTree

import pytest
from commanding import understood

from firmware_sim.boards.wiring import COLOURS, HEIGHT, PARTS, SVG_NAME, WIDTH, svg, table
from monitor.commands.node import HOWS
from monitor.node.settings import PINS, Board, NodeSettings

FOLDER = Path(__file__).parents[2] / "firmware_sim"
PAGE = (FOLDER / "README.md").read_text(encoding="utf-8")
WIRES = [wire for part in PARTS for wire in part.wires]


def test_the_drawn_diagram_is_the_one_that_the_table_gives() -> None:
    assert (FOLDER / "boards" / SVG_NAME).read_text(encoding="utf-8") == svg()


def test_the_pages_table_is_made_from_the_wires() -> None:
    assert table() in PAGE


@pytest.mark.parametrize("board", list(Board))
def test_every_pin_of_the_configuration_is_wired_once(board: Board) -> None:
    wired = [getattr(wire, board.value) for wire in WIRES if wire.esp32 is not None]
    assert sorted(wired) == sorted(PINS[board].values())
    assert len(set(wired)) == len(wired)


def test_each_part_has_its_supply_and_ground() -> None:
    for part in PARTS:
        kinds = [wire.kind for wire in part.wires]
        assert kinds.count("GND") == 1
        assert len({"3V3", "5V"} & set(kinds)) == 1
        assert set(kinds) <= set(COLOURS)


def test_five_volts_never_reach_a_pin_without_a_divider() -> None:
    sound = PARTS[-1]
    assert sound.wires[0].kind == "5V"
    (echo,) = [wire for wire in sound.wires if wire.board == "echo"]
    upper_kohm, lower_kohm = map(int, re.findall(r"(\d+) kΩ", echo.through))
    assert 5.0 * lower_kohm / (upper_kohm + lower_kohm) <= 3.4


def test_everything_drawn_lies_on_the_sheet_and_has_a_name() -> None:
    tree = ElementTree.fromstring(svg())
    space = "{http://www.w3.org/2000/svg}"
    assert tree.find(f"{space}title") is not None
    assert tree.find(f"{space}desc") is not None
    for item in tree:
        x, y = float(item.get("x", 0)), float(item.get("y", 0))
        assert 0 <= x <= x + float(item.get("width", 0)) <= WIDTH
        assert 0 <= y <= y + float(item.get("height", 0)) <= HEIGHT
    said = {item.text for item in tree.iter(f"{space}text")}
    for part in PARTS:
        assert {part.title, part.what, part.where} <= said


def test_the_page_explains_every_key_and_every_calibration() -> None:
    for key in NodeSettings.__dataclass_fields__:
        assert f"`{key}`" in PAGE
    for how in HOWS:
        assert f"calibrate tub-3 {how}" in PAGE


def test_every_command_on_the_page_is_understood() -> None:
    text = PAGE.replace("\\\n", " ")
    commands = re.findall(r"^proofing-monitor (.*?)(?:\s+#.*)?$", text, re.MULTILINE)
    assert len(commands) >= 8
    for command in commands:
        words = [word.strip('"') for word in re.findall(r'"[^"]*"|\S+', command)]
        assert understood(words)[0] == words[0]


@pytest.mark.parametrize("said", ["licensed electrician", "local code", "drop", "never switches", "food authority"])
def test_the_page_holds_its_cautions(said: str) -> None:
    assert said in PAGE
