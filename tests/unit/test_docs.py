"""What exists is written down: modules, commands, alert kinds, states."""

import re
import tomllib
from datetime import UTC, datetime
from pathlib import Path

import pytest
from commanding import commands

from monitor.alerts.dough import AlertKind
from monitor.alerts.kinds import CueKind
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
GUIDE = (ROOT / "DEVELOPERS.md").read_text()
README = (ROOT / "README.md").read_text()


@pytest.mark.parametrize(
    "path", sorted(set(re.findall(r"`((?:monitor|dashboard|firmware_sim|tests)/[\w/.]+)`", GUIDE)))
)
def test_every_path_in_the_guide_exists(path):
    assert (ROOT / path).exists()


@pytest.mark.parametrize("command", [" ".join(words) for words, _ in commands()])
def test_every_command_is_in_the_readme(command):
    assert re.search(rf"\b{command}\b", README)


@pytest.mark.parametrize("kind", [*AlertKind, *CueKind])
def test_every_alert_is_in_the_readme(kind):
    assert kind in README


@pytest.mark.parametrize("state", list(State))
def test_every_state_is_in_the_readme(state):
    assert f"| {state_word(state, Reader(UTC))} |" in README


def test_the_recipe_and_the_kitchen_of_the_readme_can_be_used():
    section = README.partition("## Plan a bake")[2].partition("\n## ")[0]
    parts, stages, kitchen = re.findall(r"```toml\n(.*?)```", section, re.DOTALL)
    recipe = recipe_from_toml(tomllib.loads(parts + stages), "README")
    assert recipe_findings(recipe) == ()
    now = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)
    order = Order(recipe, datetime(2026, 3, 3, 12, 30, tzinfo=UTC))
    found = make_plan((order,), kitchen_from_toml(tomllib.loads(kitchen), "README"), now, UTC)
    assert isinstance(found, Plan), found
