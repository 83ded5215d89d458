"""The bake of a recipe from the table of its file, and back to it."""

import re
from collections.abc import Mapping
from typing import Any

from monitor.recipe.batch import DEFAULT_PREHEAT_MIN, LONGEST_PREHEAT_MIN
from monitor.recipe.method import Bake, OvenStep
from monitor.recipe.toml_tables import Faults, short_number, shown
from monitor.recipe.work_file import LONGEST_WORK_MIN, cue_of
from monitor.translatable import Number
from monitor.units import celsius

MOST_PIECES = 5000
HOTTEST_OVEN_C = 550.0
USUAL_OVEN_C = 300.0  # judgement: deck ovens for bread end about there; beyond it somebody may mean Fahrenheit
CORE_C = (60.0, 105.0)  # judgement: bread is done between 88 and 98; outside these somebody may mean Fahrenheit
LONGEST_COOLING_MIN = 2880.0
LARGEST_LOSS_PCT = 40.0
_BAKE_KEYS = (
    "minutes", "oven_c", "preheat_min", "steam_min", "at_once", "stagger_min", "chill_min", "loss_pct", "core_c",
    "cool_min", "step", "cue",
)  # fmt: skip


def bake_of(table: Mapping[str, Any], faults: Faults) -> Bake | None:
    faults.unknown(table, _BAKE_KEYS, "bake.")
    for key in ("minutes", "oven_c"):
        if key not in table:
            faults.report("bake.{key} is missing", key=key)
    minutes = faults.number(table, "minutes", "bake.", at_most=LONGEST_WORK_MIN)
    oven_c = _oven_c(table, faults)
    preheat_min = faults.number(table, "preheat_min", "bake.", at_most=LONGEST_PREHEAT_MIN, can_be_zero=True)
    at_once = faults.whole(table, "at_once", "bake.", at_most=MOST_PIECES)
    steam = table.get("steam_min", [])
    is_list = isinstance(steam, list) and all(isinstance(at, int | float) and not isinstance(at, bool) for at in steam)
    if not is_list or any(not 0 <= at <= (minutes or LONGEST_WORK_MIN) for at in steam):
        faults.report("bake.steam_min = {steam} must be minutes after loading, such as [0, 5, 10]", steam=shown(steam))
        steam = []
    waits = [
        faults.number(table, key, "bake.", at_most=LONGEST_WORK_MIN, can_be_zero=True) or 0.0
        for key in ("stagger_min", "chill_min")
    ]
    loss_pct = faults.number(table, "loss_pct", "bake.", at_most=LARGEST_LOSS_PCT, can_be_zero=True)
    steps = [
        _oven_step(row, f"bake.step {number}: ", minutes or LONGEST_WORK_MIN, faults)
        for number, row in enumerate(faults.rows(table, "step"), start=1)
    ]
    core_c = faults.number(table, "core_c", "bake.", at_least=CORE_C[0], at_most=CORE_C[1])
    cool_min = faults.number(table, "cool_min", "bake.", at_most=LONGEST_COOLING_MIN, can_be_zero=True)
    cue = cue_of(table, "bake.", faults)
    if minutes is None or oven_c is None:
        return None
    return Bake(
        minutes,
        oven_c,
        DEFAULT_PREHEAT_MIN if preheat_min is None else preheat_min,
        tuple(sorted(map(float, steam))),
        at_once,
        waits[0],
        waits[1],
        loss_pct,
        tuple(sorted((step for step in steps if step is not None), key=lambda step: step.after_min)),
        core_c,
        cool_min or 0.0,
        cue,
    )


def _oven_step(row: Mapping[str, Any], prefix: str, minutes: float, faults: Faults) -> OvenStep | None:
    faults.unknown(row, ("after_min", "oven_c", "vent"), prefix)
    after_min = faults.number(row, "after_min", prefix, at_most=minutes, can_be_zero=True)
    vents = row.get("vent", False)
    oven_c = _oven_c(row, faults, prefix) if "oven_c" in row else None
    if "after_min" not in row or not isinstance(vents, bool) or not (vents or "oven_c" in row):
        faults.report(
            "{prefix}say when, and what changes: after_min = 15 with oven_c = 210, vent = true, or both", prefix=prefix
        )
        return None
    return None if after_min is None else OvenStep(after_min, oven_c, vents)


def _oven_c(table: Mapping[str, Any], faults: Faults, prefix: str = "bake.") -> float | None:
    """How hot the oven is; hotter than bread wants must be said with its unit: mostly it is Fahrenheit. [C]"""
    written = table.get("oven_c")
    said_c = re.fullmatch(r"(\d{1,4}(?:\.\d+)?) ?C", written) if isinstance(written, str) else None
    found = faults.number({"oven_c": float(said_c[1])} if said_c else table, "oven_c", prefix, at_most=HOTTEST_OVEN_C)
    if found is None or found <= USUAL_OVEN_C or said_c:
        return found
    faults.report(
        "{prefix}oven_c = {oven_c} is hotter than an oven for bread; {oven_c} °F would be oven_c = {celsius}; if it is "
        'Celsius all the same, write oven_c = "{oven_c} C"',
        prefix=prefix,
        oven_c=Number(found, "g"),
        celsius=Number(celsius(found), ".0f"),
    )
    return None


def _oven_text(oven_c: float) -> float | int | str:
    """A heat of the oven so that it is read as Celsius again."""
    return short_number(oven_c) if oven_c <= USUAL_OVEN_C else f"{oven_c:g} C"


def _oven_step_table(step: OvenStep) -> dict[str, object]:
    table: dict[str, object] = {"after_min": short_number(step.after_min)}
    if step.oven_c is not None:
        table["oven_c"] = _oven_text(step.oven_c)
    return table | {"vent": True} if step.vents else table


def bake_table(bake: Bake) -> dict[str, object]:
    table: dict[str, object] = {key: short_number(getattr(bake, key)) for key in ("minutes", "oven_c", "preheat_min")}
    table["oven_c"] = _oven_text(bake.oven_c)
    if bake.steam_min:
        table["steam_min"] = [short_number(at) for at in bake.steam_min]
    if bake.at_once is not None:
        table["at_once"] = bake.at_once
    for key in ("stagger_min", "chill_min", "cool_min"):
        if getattr(bake, key):
            table[key] = short_number(getattr(bake, key))
    for key in ("loss_pct", "core_c"):
        if getattr(bake, key) is not None:
            table[key] = short_number(getattr(bake, key))
    if bake.cue:
        table["cue"] = bake.cue
    if bake.steps:
        table["step"] = [_oven_step_table(step) for step in bake.steps]
    return table
