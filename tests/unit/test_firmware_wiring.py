"""The build page: diagram, table, configuration and firmware say the same."""

import re
from pathlib import Path
from xml.etree import ElementTree

import pytest
from commanding import understood

from firmware_sim.boards.wiring import (
    BOARDS,
    CALLS,
    COLOURS,
    PARTS,
    SVG_NAME,
    WIDTH,
    height_of,
    plan_of,
    svg,
    table,
    whole_plan,
)
from monitor.commands.node.calibrate import HOWS
from monitor.node.profiles import Board, Job
from monitor.node.settings import SIGHTS, NodeSettings, config_text
from monitor.recipe.sight import Sight
from monitor.wire.readings import NodeId

FOLDER = Path(__file__).parents[2] / "firmware_sim"
PAGE = (FOLDER / "README.md").read_text(encoding="utf-8")
WIRES = [wire for part in PARTS for wire in part.wires]


def test_the_drawn_diagram_is_the_one_that_the_table_gives() -> None:
    assert (FOLDER / "boards" / SVG_NAME).read_text(encoding="utf-8") == svg(whole_plan(BOARDS[0]))


def test_the_pages_table_is_made_from_the_wires() -> None:
    assert table() in PAGE


def test_every_pin_of_the_configuration_is_wired_once() -> None:
    assert {wire.job for wire in WIRES if wire.job} == set(Job)
    bus = [wire.job for wire in WIRES if wire.job in (Job.SDA, Job.SCL)]  # which the ranger by light may share
    assert len(WIRES) - len([wire for wire in WIRES if not wire.job]) == len(Job) + len(bus) - 2
    assert tuple(Board) == BOARDS


def test_each_part_has_its_supply_and_ground() -> None:
    for part in PARTS:
        kinds = [wire.kind for wire in part.wires]
        assert kinds.count("GND") == 1
        assert len({"3V3", "5V"} & set(kinds)) == (part is not CALLS)  # whose pins feed lamp and buzzer
        assert set(kinds) <= set(COLOURS)


def test_five_volts_never_reach_a_pin_without_a_divider() -> None:
    (sound,) = [part for part in PARTS if part.choice == "ultrasonic"]
    assert sound.wires[0].kind == "5V"
    (echo,) = [wire for wire in sound.wires if wire.board == "echo"]
    upper_kohm, lower_kohm = map(int, re.findall(r"(\d+) kΩ", echo.through))
    assert 5.0 * lower_kohm / (upper_kohm + lower_kohm) <= 3.4


@pytest.mark.parametrize("board", BOARDS)
def test_everything_drawn_lies_on_the_sheet_and_has_a_name(board: str) -> None:
    plan = whole_plan(board)
    tree = ElementTree.fromstring(svg(plan))
    space = "{http://www.w3.org/2000/svg}"
    assert tree.find(f"{space}title") is not None
    assert tree.find(f"{space}desc") is not None
    for item in tree:
        x, y = float(item.get("x", 0)), float(item.get("y", 0))
        assert 0 <= x <= x + float(item.get("width", 0)) <= WIDTH
        assert 0 <= y <= y + float(item.get("height", 0)) <= height_of(plan)
    said = {item.text for item in tree.iter(f"{space}text")}
    for part in plan.parts:
        assert {part.title, part.what, part.where} <= said


def test_lamp_and_button_are_drawn_on_the_pins_that_were_chosen() -> None:
    settings = NodeSettings(NodeId("urn:dev:mac:020000fffe5e0001"), pin_light=23, pin_button=32)
    lines = dict(line.split("=", 1) for line in config_text(settings).splitlines() if "=" in line)
    plan = plan_of([lines])
    assert [wire.job for wire in plan.parts[-1].wires] == ["light", "button", ""]
    drawn = svg(plan)
    assert "GPIO 23" in drawn
    assert "GPIO 32" in drawn
    assert "its input" not in drawn


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


@pytest.mark.parametrize(("kind", "sight"), SIGHTS.items())
def test_the_page_says_what_each_ranger_sees(kind: str, sight: Sight) -> None:
    (row,) = [line for line in PAGE.splitlines() if line.startswith("| by ") and f"(`{kind}`)" in line]
    least, greatest, view, spot = (float(re.findall(r"\d+", cell)[0]) for cell in row.split("|")[2:6])
    assert (least, greatest, view) == (sight.least_mm, sight.greatest_mm, sight.view_deg)
    assert spot == pytest.approx(sight.spot_mm(300.0), abs=1.0)
