"""What the documents say is so: paths, links, commands, alert kinds, states, lengths, layers."""

import re
import tomllib
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from commanding import commands

from dashboard.guide.screen import CONTENTS, PAGES
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


def test_the_tests_of_the_mutation_run_are_there():
    selected = PROJECT["tool"]["mutmut"]["pytest_add_cli_args_test_selection"]
    assert [each for each in selected if not (ROOT / each).exists()] == []


def places(document: Path) -> set[str]:
    return set(re.findall(r"`((?:monitor|dashboard|firmware_sim|tests)/[\w/.]+)`", document.read_text()))


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_what_a_document_points_at_is_there(document):
    assert [place for place in sorted(places(document)) if not (ROOT / place).exists()] == []
    links = re.findall(r"\]\((?!https?:|#)([^)#]+)(?:#[^)]*)?\)", document.read_text())
    assert [link for link in links if not (document.parent / link).exists()] == []


def named_tests(text: str) -> list[tuple[str, str]]:
    return re.findall(r"`(tests/[\w/]+\.py)::(test_\w+)`", text)


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_every_test_that_a_document_names_is_there(document):
    named = named_tests(document.read_text())
    assert [f"{path}::{test}" for path, test in named if f"\ndef {test}(" not in (ROOT / path).read_text()] == []


def test_each_row_of_who_may_do_what_says_what_is_not_guarded_and_names_its_test():
    text = (ROOT / "monitor" / "remote_access" / "README.md").read_text()
    table = text.partition("## Who may do what")[2].partition("\n## ")[0]
    rows = [line.strip("|").split("|") for line in table.splitlines() if line.startswith("|")][2:]
    assert len(rows) >= 14
    assert [row[0] for row in rows if len(row) != 5 or not all(map(str.strip, row)) or not named_tests(row[4])] == []


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


def test_every_page_of_the_guide_is_shown_and_linked():
    pages = {path.removesuffix(".md") for path in GUIDE} - {CONTENTS}
    assert set(PAGES) - {CONTENTS, "building"} == pages
    for page in pages:
        assert f"]({page}.md)" in GUIDE["README.md"]
        assert f"](dashboard/guide/{page}.md)" in README


def test_every_screen_is_in_the_guide():
    titles = re.findall(r'title=say\("([^"]+)"\)', (ROOT / "dashboard" / "app.py").read_text())
    rows = re.findall(r"^\| ([A-Z][\w, ]+) \|", GUIDE["first-dough.md"].partition("## The screens")[2], re.MULTILINE)
    told = {name for row in rows for name in row.split(", ")}
    assert len(titles) > 10
    assert set(titles) <= told


def test_the_recipe_and_the_kitchen_of_the_guide_can_be_used():
    recipe_text, retard, steps, feed, kitchen = re.findall(r"```toml\n(.*?)```", GUIDE["plan.md"], re.DOTALL)
    recipe = recipe_from_toml(tomllib.loads(recipe_text), "guide")
    assert recipe_findings(recipe) == ()
    parts = recipe_text[: recipe_text.index("[[stage]]")]
    worked = recipe_from_toml(tomllib.loads(parts + steps), "guide")
    assert worked.method[0].folds_min == (30.0, 60.0, 90.0)
    fed = recipe_from_toml(tomllib.loads(feed), "guide")
    assert fed.parts[0].feed == pytest.approx((5.0, 5.0))
    now = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)
    in_the_room = recipe_text.replace('place = "refrigerator"', 'place = "room"')
    overnight = recipe_text[: recipe_text.rindex("[[stage]]")] + retard + recipe_text[recipe_text.index("[bake]") :]
    for text, hour in ((recipe_text, 12), (in_the_room, 12), (overnight, 36)):
        order = Order(recipe_from_toml(tomllib.loads(text), "guide"), now.replace(hour=0) + timedelta(hours=24 + hour))
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
