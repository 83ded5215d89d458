"""What the documents say is so: paths, links, commands, alert kinds, states, lengths, layers."""

import re
import tomllib
from datetime import UTC, datetime
from pathlib import Path

import pytest
from commanding import commands

from monitor.alerts.kinds import AlertKind, CueKind
from monitor.dough.outlook import State
from monitor.plan.day import Plan
from monitor.plan.kitchen import kitchen_from_toml
from monitor.plan.orders import Order
from monitor.plan.planner import make_plan
from monitor.recipe.findings import recipe_findings
from monitor.recipe.recipe_file import recipe_from_toml
from monitor.wording.alerts import state_word
from monitor.wording.reader import Reader

ROOT = Path(__file__).resolve().parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text()
README = (ROOT / "README.md").read_text()
GUIDE = {path.name: path.read_text() for path in sorted((ROOT / "dashboard" / "guide").glob("*.md"))}
ROOMS = sorted(
    path
    for folder in ("monitor", "dashboard", "firmware_sim", "tests")
    for path in (ROOT / folder).rglob("*.md")
    if path.name not in GUIDE or path.parent.name != "guide"
)
DOCUMENTS = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "dashboard" / "guide").glob("*.md"), *ROOMS]
FOR_USERS = README + "".join(GUIDE.values()) + (ROOT / "firmware_sim" / "README.md").read_text()


def test_readme_and_contributors_guide_are_read_in_ten_minutes():
    assert len(README.splitlines()) <= 150
    assert len(DEVELOPERS.splitlines()) <= 250


def places(document: Path) -> set[str]:
    return set(re.findall(r"`((?:monitor|dashboard|firmware_sim|tests)/[\w/.]+)`", document.read_text()))


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_what_a_document_points_at_is_there(document):
    assert [place for place in sorted(places(document)) if not (ROOT / place).exists()] == []
    links = re.findall(r"\]\((?!https?:|#)([^)#]+)(?:#[^)]*)?\)", document.read_text())
    assert [link for link in links if not (document.parent / link).exists()] == []


def test_every_room_with_a_document_is_in_the_contributors_guide():
    listed = set(re.findall(r"\]\(([\w/]+/README\.md)\)", DEVELOPERS))
    assert {
        str(path.relative_to(ROOT)) for path in ROOMS if path.name == "README.md" and "data" not in path.parts
    } <= listed


@pytest.mark.parametrize("command", [" ".join(words) for words, _ in commands()])
def test_every_command_is_in_the_documents(command):
    assert re.search(rf"\b{command}\b", FOR_USERS)


@pytest.mark.parametrize("kind", [*AlertKind, *CueKind])
def test_every_alert_is_in_the_guide(kind):
    assert kind in GUIDE["calls.md"] + GUIDE["plan.md"]


@pytest.mark.parametrize("state", list(State))
def test_every_state_is_in_the_guide(state):
    assert f"| {state_word(state, Reader(UTC))} |" in GUIDE["first-dough.md"]


def test_the_recipe_and_the_kitchen_of_the_guide_can_be_used():
    recipe_text, kitchen = re.findall(r"```toml\n(.*?)```", GUIDE["plan.md"], re.DOTALL)
    recipe = recipe_from_toml(tomllib.loads(recipe_text), "guide")
    assert recipe_findings(recipe) == ()
    now = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)
    order = Order(recipe, datetime(2026, 3, 3, 12, 30, tzinfo=UTC))
    found = make_plan((order,), kitchen_from_toml(tomllib.loads(kitchen), "guide"), now, UTC)
    assert isinstance(found, Plan), found


def test_the_pure_rooms_are_the_ones_that_the_contracts_name():
    contracts = PROJECT["tool"]["importlinter"]["contracts"]
    (pure,) = (each for each in contracts if each["name"].startswith("pure rooms"))
    drawn = set(re.findall(r"^   (\w+) .* pure", DEVELOPERS, re.MULTILINE))
    assert {room.removeprefix("monitor.") for room in pure["source_modules"]} == drawn


def test_every_package_has_its_reason():
    named = set(re.split(r"[|,\s()]+", DEVELOPERS.partition("## Dependencies")[2].partition("\n## ")[0]))
    wanted = [*PROJECT["project"]["dependencies"], *PROJECT["dependency-groups"]["dev"]]
    assert {re.split(r"[\[><=~;]", each)[0] for each in wanted} - named <= {"pandas-stubs", "types-pyserial"}
