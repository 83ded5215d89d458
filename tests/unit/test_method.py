"""The steps of a recipe's method: read from its file, written back, told in words, and refused with a reason."""

import tomllib
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from monitor.alerts.dough import Facts, Rules, step
from monitor.archive.export import batch_toml
from monitor.dough.outlook import Outlook, State
from monitor.errors import ConfigError
from monitor.plan.day import batch_of_stage
from monitor.recipe.batch import Event, EventKind, batch_from_toml
from monitor.recipe.method import MixUntil, OvenStep, Work
from monitor.recipe.parts import Recipe
from monitor.recipe.recipe_file import recipe_from_toml, recipe_toml
from monitor.wording.alerts import message_of
from monitor.wording.method import method_lines
from monitor.wording.reader import Reader
from monitor.wording.recipe_sheet import lines

COBB = """
name = "Harbour cobb"
[[part]]
name = "dough"
[part.ingredients]
"white flour" = "1000 g"
water = "680 g"
salt = "20 g"
"instant yeast" = "5 g"
[[stage]]
stage = "first rise"
rise_pct = 60
[[stage.step]]
do = "autolyse"
hands_min = 5
rest_min = 30
[[stage.step]]
do = "mix"
speeds = [[1, 4], [2, 2.5]]
until = "windowpane"
place = "mixer"
[[stage.step]]
do = "fold"
after_min = [60, 30]
hands_min = 3
cue = "the edges stand"
[[stage]]
stage = "retard"
hours = [12, 18]
[[stage.step]]
do = "divide"
hands_min = 6
[[stage.step]]
do = "bench rest"
rest_min = 20
[[stage.step]]
do = "shape"
hands_min = 8
[bake]
minutes = 45
oven_c = 250
core_c = 97
cool_min = 90
[[bake.step]]
after_min = 30
vent = true
[[bake.step]]
after_min = 15
oven_c = 210
"""


def recipe(text: str = COBB) -> Recipe:
    return recipe_from_toml(tomllib.loads(text), "cobb.toml")


def test_the_steps_are_read():
    rise, retard = recipe().method
    assert [step.work for step in rise.steps] == [Work.AUTOLYSE, Work.MIX, Work.FOLD]
    assert rise.steps[1].speeds == ((1.0, 4.0), (2.0, 2.5))
    assert rise.steps[1].until is MixUntil.WINDOWPANE
    assert rise.folds_min == (30.0, 60.0)
    assert (retard.hours, retard.longest_h) == (12.0, 18.0)
    bake = recipe().bake
    assert bake is not None
    assert bake.steps == (OvenStep(15.0, 210.0), OvenStep(30.0, None, vents=True))
    assert (bake.core_c, bake.cool_min) == (97.0, 90.0)


def test_the_work_before_a_stage_is_counted_from_its_steps_with_their_rests_and_without_its_folds():
    rise, retard = recipe().method
    assert (rise.hands_min, rise.mixer_min) == (5.0 + 30.0 + 6.5, 6.5)
    assert (retard.hands_min, retard.mixer_min) == (34.0, 0.0)


def test_minutes_that_are_said_count_more_than_their_steps():
    rise = recipe(COBB.replace("rise_pct = 60", "rise_pct = 60\nhands_min = 50")).method[0]
    assert rise.hands_min == 50.0


def test_a_recipe_reads_back_as_it_was_written():
    before = recipe()
    after = recipe(recipe_toml(before))
    assert (after.method, after.bake) == (before.method, before.bake)


def test_a_recipe_without_steps_is_as_before():
    old = recipe(COBB[: COBB.index("[[stage]]")] + '[[stage]]\nstage = "first rise"\nrise_pct = 60\nhands_min = 20\n')
    assert old.method[0].steps == ()
    assert old.method[0].hands_min == 20.0
    assert list(method_lines(old, Reader(UTC))) == [
        "dough: first rise until 60 % up, in the room; hands 20 min before it"
    ]


def test_the_sheet_tells_the_method_in_the_order_of_the_day():
    told = list(method_lines(recipe(), Reader(UTC)))
    assert told == [
        "dough: flour and water alone (autolyse); hands 5 min; left alone 30 min",
        "dough: mix, 4 min at speed 1, 2 min at speed 2; until a windowpane holds; hands 6 min; at the mixer",
        "dough: first rise until 60 % up, in the room",
        "dough: fold 2 times, 30, 60 min after it begins; hands 3 min each; done when: the edges stand",
        "dough: divide; hands 6 min",
        "dough: bench rest; left alone 20 min",
        "dough: shape; hands 8 min",
        "dough: retard for 12 h to 18 h, in the refrigerator",
        "bake: 45 min at 250 °C (482 °F); oven on 30 min before loading; after 15 min to 210 °C (410 °F); let the "
        "steam out after 30 min; out at 97 °C (207 °F) in the middle; cool 1 h 30 min before it is cut",
    ]
    assert set(told) <= {line.strip() for line in lines(recipe(), Reader(UTC))}


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('do = "mix"', 'do = "mx"', "stage 1: step 2: do = 'mx' must be one of: autolyse, temper, mix"),
        ('do = "mix"', 'do = "shape"', 'stage 1: step 2: speeds is of do = "mix" only, and this is "shape"'),
        (
            "[[1, 4], [2, 2.5]]",
            "[1, 4]",
            "must be pairs of the mixer's speed and its minutes, such as [[1, 4], [2, 6]]",
        ),
        ("[[1, 4], [2, 2.5]]", "[[1, -4]]", "must be pairs of the mixer's speed and its minutes"),
        ('place = "mixer"', "hands_min = 2", "the mixer runs 6.5 min, and hands_min = 2 is less"),
        ("after_min = [60, 30]", "", "after_min = None must be when it is folded"),
        (
            "after_min = [60, 30]",
            "after_min = [30, 30]",
            "must be when it is folded, in minutes after the stage begins",
        ),
        ("after_min = [60, 30]", "after_min = [30, true]", "must be when it is folded"),
        ("rise_pct = 60", "hours = 0.5", "stage 1: a fold 60 min after the stage begins comes after its end"),
        ("rise_pct = 60", "rise_pct = 60\nhands_min = 10", "hands_min = 10 is less than its steps come to, 41.5 min"),
        ("[12, 18]", "[18, 12]", "hours = [18, 12] must be a number of hours, or the least and the most of them"),
        ("[12, 18]", "[12, 18, 24]", "must be a number of hours, or the least and the most of them"),
        ('"the edges stand"', "3", "cue = 3 must be a sentence of at most 200 characters"),
        ('until = "windowpane"', 'until = "glass"', "until = 'glass' must be one of: windowpane"),
        ("vent = true", "", "bake.step 1: say when, and what changes: after_min = 15 with oven_c = 210"),
        ("oven_c = 210", "oven_c = 425", "bake.step 2: oven_c = 425 is hotter than an oven for bread"),
        ("after_min = 15", "after_min = 50", "bake.step 2: after_min = 50 must be a number from 0, at most 45"),
        ("core_c = 97", "core_c = 207", "bake.core_c = 207 must be a number from 60, at most 105"),
    ],
)
def test_a_fault_of_a_step_is_told(old: str, new: str, said: str):
    assert old in COBB
    with pytest.raises(ConfigError) as caught:
        recipe(COBB.replace(old, new))
    assert said in str(caught.value)


def test_the_batch_of_a_stage_knows_its_folds_and_what_does_not_keep():
    milk = recipe(COBB.replace('salt = "20 g"', 'salt = "20 g"\nmilk = "100 g"'))
    batch = batch_of_stage(milk, 0, datetime(2026, 3, 2, 6, 0, tzinfo=UTC))
    assert (batch.folds_min, batch.perishable) == ((30.0, 60.0), ("milk",))
    assert batch_from_toml(tomllib.loads(batch_toml(batch)), "again.toml") == batch


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("folds_min = [30, -1]", "folds_min = [30, -1] must be when it is folded"),
        ('perishable = "egg"', "perishable = 'egg' must be names of the egg, milk and the like in the dough"),
    ],
)
def test_a_fault_of_a_batch_file_is_told(line: str, said: str):
    batch = batch_of_stage(recipe(), 0, datetime(2026, 3, 2, 6, 0, tzinfo=UTC))
    text = batch_toml(replace(batch, folds_min=()))
    with pytest.raises(ConfigError) as caught:
        batch_from_toml(tomllib.loads(f"{line}\n{text}"), "a.toml")
    assert said in str(caught.value)


def test_a_fold_that_is_due_is_told_with_its_number_its_hour_and_what_to_do():
    batch = batch_of_stage(recipe(), 0, datetime(2026, 3, 2, 6, 0, tzinfo=UTC))
    now = datetime(2026, 3, 2, 7, 1, tzinfo=UTC)
    folded = replace(batch, events=(Event(datetime(2026, 3, 2, 6, 31, tzinfo=UTC), EventKind.FOLD),))
    facts = Facts(folded, Outlook(now, State.RISING), now)
    (call,) = step(Rules(), (), facts).calls
    message = message_of(call, facts, reader=Reader(UTC))
    assert message.title == "Harbour cobb: fold now"
    assert message.text.endswith("Fold 2 of 2 was due 07:00. Fold it, and note it: one tap on Folded.")
