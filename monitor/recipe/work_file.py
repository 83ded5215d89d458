"""The work of a recipe, step by step, from the tables of its file and back to them."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from monitor.recipe.method import MixUntil, Work, WorkStep
from monitor.recipe.toml_tables import Faults, finite, minutes_of, short_number, shown
from monitor.translatable import Number

LONGEST_WORK_MIN = 600.0
HIGHEST_SPEED = 20.0  # a mixer's dial
LONGEST_CUE = 200
_STEP_KEYS = ("do", "hands_min", "rest_min", "speeds", "until", "after_min", "place", "cue")


def cue_of(table: Mapping[str, Any], prefix: str, faults: Faults) -> str:
    """How a baker sees that something is done."""
    cue = table.get("cue", "")
    if isinstance(cue, str) and len(cue) <= LONGEST_CUE:
        return cue.strip()
    faults.report(
        "{prefix}cue = {cue} must be a sentence of at most {n} characters",
        prefix=prefix,
        cue=shown(cue),
        n=LONGEST_CUE,
    )
    return ""


def place_of(row: Mapping[str, Any], prefix: str, faults: Faults) -> str:
    """The place in the kitchen that a table names; empty where it names none."""
    place = row.get("place")
    if place is None or (isinstance(place, str) and place.strip()):
        return (place or "").strip()
    faults.report(
        "{prefix}place = {place} must be the name of a place in the kitchen", prefix=prefix, place=shown(place)
    )
    return ""


def work_step(row: Mapping[str, Any], prefix: str, faults: Faults) -> WorkStep | None:
    """One ``[[stage.step]]``; None when it has a fault that leaves nothing of it."""
    faults.unknown(row, _STEP_KEYS, prefix)
    work = faults.choice(row, "do", prefix, Work)
    place = place_of(row, prefix, faults)
    if work is None:
        return None
    for key, owner in (("speeds", Work.MIX), ("until", Work.MIX), ("after_min", Work.FOLD)):
        if key in row and work is not owner:
            faults.report(
                '{prefix}{key} is of do = "{owner}" only, and this is "{work}"',
                prefix=prefix,
                key=key,
                owner=owner.value,
                work=work.value,
            )
            return None
    if work is Work.FOLD and "rest_min" in row:
        faults.report("{prefix}folds have no rest_min: after_min says when each is due", prefix=prefix)
    hands_min, rest_min = (
        faults.number(row, key, prefix, at_most=LONGEST_WORK_MIN, can_be_zero=True) or 0.0
        for key in ("hands_min", "rest_min")
    )
    step = WorkStep(
        work,
        hands_min,
        rest_min,
        speeds=_speeds(row.get("speeds", []), prefix, faults),
        until=faults.choice(row, "until", prefix, MixUntil) if "until" in row else None,
        after_min=minutes_of(row, "after_min", faults, prefix) if work is Work.FOLD else (),
        place=place,
        cue=cue_of(row, prefix, faults),
    )
    if "hands_min" not in row:  # somebody stands at the mixer
        return replace(step, hands_min=step.mixer_min)
    if step.mixer_min > step.hands_min:
        faults.report(
            "{prefix}the mixer runs {mixer_min} min, and hands_min = {hands_min} is less: somebody stands at it",
            prefix=prefix,
            mixer_min=Number(step.mixer_min, "g"),
            hands_min=Number(step.hands_min, "g"),
        )
    return step


def _speeds(written: object, prefix: str, faults: Faults) -> tuple[tuple[float, float], ...]:
    pairs = written if isinstance(written, list) else [None]
    found = []
    for pair in pairs:
        numbers = [finite(each) for each in pair] if isinstance(pair, list) else []
        if len(numbers) == 2 and numbers[0] is not None and numbers[1] is not None:
            speed, minutes = numbers[0], numbers[1]
            if 0.0 < speed <= HIGHEST_SPEED and 0.0 < minutes <= LONGEST_WORK_MIN:
                found.append((speed, minutes))
    if len(found) == len(pairs):
        return tuple(found)
    faults.report(
        "{prefix}speeds = {speeds} must be pairs of the mixer's speed and its minutes, such as [[1, 4], [2, 6]]",
        prefix=prefix,
        speeds=shown(written),
    )
    return ()


def work_step_table(step: WorkStep) -> dict[str, object]:
    """What :func:`work_step` reads, to be written."""
    table: dict[str, object] = {"do": step.work.value}
    for key in ("hands_min", "rest_min"):
        if getattr(step, key):
            table[key] = short_number(getattr(step, key))
    if step.speeds:
        table["speeds"] = [[short_number(each) for each in pair] for pair in step.speeds]
    if step.until is not None:
        table["until"] = step.until.value
    if step.after_min:
        table["after_min"] = [short_number(at) for at in step.after_min]
    return table | {key: getattr(step, key) for key in ("place", "cue") if getattr(step, key)}
