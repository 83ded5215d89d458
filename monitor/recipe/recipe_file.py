"""A recipe from its TOML file and back to one."""

from collections.abc import Mapping
from typing import Any

import tomlkit

from monitor.recipe.bake_file import LARGEST_LOSS_PCT, MOST_PIECES, bake_of, bake_table
from monitor.recipe.batch import (
    LARGEST_G,
    LARGEST_RISE_PCT,
    LONGEST_STAGE_H,
    MOST_SALT_PCT,
    Stage,
    Target,
)
from monitor.recipe.ingredient_table import nearest, recognised, row_of
from monitor.recipe.ingredients import CUP_G, RIPE, STATED_DOUBT_FRAC, Composition, IngredientKind
from monitor.recipe.intent import MEANT_TEMPS_C
from monitor.recipe.measures import (
    GRAMS,
    MILLILITRES,
    Amount,
    Unit,
    Weight,
    amount_of,
    feed_ratio,
    volume_weight,
    weighed,
)
from monitor.recipe.method import REFRIGERATOR, ROOM, MethodStage, work_before_min
from monitor.recipe.parts import Ingredient, Part, PartKind, Recipe
from monitor.recipe.toml_tables import Faults, name_of, nodes_of, short_number, shown, vessel_of, vessel_table
from monitor.recipe.work_file import LONGEST_WORK_MIN, cue_of, place_of, work_step, work_step_table
from monitor.translatable import Number, Translatable

_SHARES = {f"{name}_pct": name for name in ("flour", "water", "salt", "sugar", "fat")}
_INGREDIENT_KEYS = ("amount", "kind", "g_per_cup", "hydration_pct", "flour", *_SHARES)
_FED = ("ripe starter", "flour", "water")  # what a ratio is of, unless the recipe names it
_STAGE_KEYS = (
    "part", "stage", "rise_pct", "target", "hours", "place", "cold_h", "good_to_rise_pct", "hands_min", "mixer_min",
    "dough_c", "takes", "sample_g", "in_bulk", "vessel", "nodes", "step", "cue",
)  # fmt: skip


def recipe_from_toml(table: Mapping[str, Any], where: str) -> Recipe:
    """A recipe from a parsed recipe file.

    Raises
    ------
    ConfigError
        With every fault of the file at once: what, where, and what would be right.
    """
    faults = Faults(where, Translatable("a recipe file"))
    faults.unknown(table, ("name", "note", "pieces", "piece_g", "dividing_loss_pct", "part", "stage", "bake"), "")
    name = name_of(table, "name", Translatable("recipe"), faults)
    parts: list[Part] = []
    for number, row in enumerate(faults.rows(table, "part"), start=1):
        part = _part(row, f"part {number}: ", parts, faults)
        if part is not None:
            parts.append(part)
    if not table.get("part"):
        faults.report("there is no [[part]]: a recipe has one at the least, the dough")
    known = [part.name for part in parts]
    method = tuple(
        _stage(row, f"stage {number}: ", known, faults)
        for number, row in enumerate(faults.rows(table, "stage"), start=1)
    )
    pieces = faults.whole(table, "pieces", "", at_most=MOST_PIECES)
    piece_g = faults.number(table, "piece_g", "", at_most=LARGEST_G)
    loss_pct = faults.number(table, "dividing_loss_pct", "", at_most=LARGEST_LOSS_PCT, can_be_zero=True)
    bake_row = faults.table(table, "bake")
    bake = None if bake_row is None else bake_of(bake_row, faults)
    note = table.get("note", "")
    faults.raise_any()
    assert name is not None
    recipe = Recipe(name, tuple(parts), pieces or 1, piece_g, method, bake, str(note), loss_pct or 0.0)
    total = recipe.total
    if total.flour_g > 0.0 and total.pct(total.salt_g) > MOST_SALT_PCT:
        faults.report(
            "{salt_g} g of salt is {pct} % of the flour: nothing rises there; most breads have about 2 %",
            salt_g=Number(total.salt_g, "g"),
            pct=Number(total.pct(total.salt_g), ".0f"),
        )
        faults.raise_any()
    return recipe


def _part(row: Mapping[str, Any], prefix: str, before: list[Part], faults: Faults) -> Part | None:
    faults.unknown(row, ("name", "kind", "ingredients", "ratio", "makes", "of"), prefix)
    name = name_of(row, "name", Translatable("part"), faults)
    kind = faults.choice(row, "kind", prefix, PartKind) if "kind" in row else PartKind.DOUGH
    lines = row.get("ingredients")
    if "ratio" in row or "makes" in row or "of" in row:
        lines = _fed(row, prefix, faults)
        if lines is None:
            return None
        kind = PartKind.SOURDOUGH
    if not isinstance(lines, Mapping) or not lines:
        faults.report(
            '{prefix}[part.ingredients] is missing: a line for each, such as "white flour" = "700 g"', prefix=prefix
        )
        return None
    if name is None or kind is None:
        return None
    if any(part.name == name for part in before):
        faults.report("{prefix}there is a part {name!r} already: give each a name of its own", prefix=prefix, name=name)
        return None
    read: list[tuple[str, IngredientKind, Amount, Mapping[str, Any]]] = []
    for what, value in lines.items():
        line = _line(what, value, f"{prefix}{what}: ", before, faults)
        if line is not None:
            read.append((what, *line))
    flour_g = sum(
        weight.g
        for what, each, amount, keys in read
        if each is IngredientKind.FLOUR and (weight := _weight(what, each, amount, keys, before, None)) is not None
    )
    ingredients = []
    for what, each, amount, keys in read:
        weight = _weight(what, each, amount, keys, before, flour_g)
        if weight is None:
            faults.report("{prefix}{what}: {each}", prefix=prefix, what=what, each=_no_weight(each, amount))
            continue
        ingredients.append(
            Ingredient(
                what,
                each,
                weight,
                str(keys["amount"]),
                keys.get("hydration_pct"),
                str(keys.get("flour", "")),
                _declared(keys),
            )
        )
    return Part(name, kind, tuple(ingredients))


def _fed(row: Mapping[str, Any], prefix: str, faults: Faults) -> dict[str, str] | None:
    """The ingredients of a sourdough that is written as a ratio and a weight."""
    names = row.get("of", list(_FED))
    is_named = isinstance(names, list) and len({*map(str, names)}) == 3 and all(isinstance(each, str) for each in names)
    try:
        ratio = feed_ratio(str(row.get("ratio", "")))
        makes = amount_of(str(row.get("makes", "")))
    except ValueError as err:
        faults.report("{prefix}{why}", prefix=prefix, why=err)
        return None
    if "ingredients" in row or not is_named or makes.unit not in GRAMS:
        faults.report(
            '{prefix}a feed has ratio = "1:5:5", makes = "220 g", and of = ["ripe starter", "rye flour", "water"] '
            "where they are called otherwise; then there are no [part.ingredients]",
            prefix=prefix,
        )
        return None
    share_g = makes.number * GRAMS[makes.unit] / sum(ratio)
    return {name: f"{share * share_g:.9g} g" for name, share in zip(names, ratio, strict=True)}


def _declared(keys: Mapping[str, Any]) -> Composition | None:
    """What a recipe says an ingredient is made of; None when it does not."""
    said = {name: keys[key] / 100.0 for key, name in _SHARES.items() if key in keys}
    return Composition(**said) if said else None


def _line(
    what: str, value: object, prefix: str, before: list[Part], faults: Faults
) -> tuple[IngredientKind, Amount, Mapping[str, Any]] | None:
    """Kind and amount of an ingredient, and all its keys."""
    table: Mapping[str, Any] = value if isinstance(value, Mapping) else {"amount": value}
    faults.unknown(table, _INGREDIENT_KEYS, prefix)
    if any(part.name == what for part in before):
        kind: IngredientKind | None = IngredientKind.PART
    elif "kind" in table:
        kind = faults.choice(table, "kind", prefix, IngredientKind)
    elif (known := recognised(what)) is not None:
        kind = known.row.kind
    elif not _SHARES.keys().isdisjoint(table):
        kind = IngredientKind.OTHER
    else:
        kind = None
        near = nearest(what)
        faults.report(
            "{prefix}is neither a part above it nor known by its name{near}; say what it is: {{ amount = "
            '"50 g", kind = "other", water_pct = 30 }}, one of {kinds}; fat_pct, sugar_pct, salt_pct and flour_pct '
            "say what else is in 100 g of it",
            prefix=prefix,
            near=Translatable(" (nearest: {names})", names=", ".join(near)) if near else "",
            kinds=", ".join(each for each in IngredientKind if each is not IngredientKind.PART),
        )
    faults.number(table, "g_per_cup", prefix, at_most=1000.0)
    faults.number(table, "hydration_pct", prefix, at_most=500.0)
    shares = [faults.number(table, key, prefix, at_most=100.0, can_be_zero=True) for key in _SHARES]
    if sum(share or 0.0 for share in shares) > 100.0:
        faults.report("{prefix}its shares are more than 100 % together", prefix=prefix)
    if ("flour" in table or "hydration_pct" in table) and kind is not None and kind not in RIPE:
        faults.report(
            "{prefix}hydration_pct and flour are of a starter or an old dough; say kind = {kinds}",
            prefix=prefix,
            kinds=" | ".join(f'"{each}"' for each in RIPE),
        )
    if "flour" in table and not isinstance(table["flour"], str):
        faults.report("{prefix}flour = {flour} must be the name of a flour", prefix=prefix, flour=shown(table["flour"]))
    written = table.get("amount")
    try:
        amount = amount_of(written if isinstance(written, str) else shown(written))
    except ValueError as err:
        faults.report("{prefix}{why}", prefix=prefix, why=err)
        return None
    return None if kind is None else (kind, amount, table)


def _weight(
    what: str, kind: IngredientKind, amount: Amount, keys: Mapping[str, Any], before: list[Part], flour_g: float | None
) -> Weight | None:
    """What an amount weighs; None when that is not known."""
    number, unit = amount.number, amount.unit
    if unit in GRAMS:
        return weighed(number * GRAMS[unit])
    if unit in MILLILITRES:
        stated = keys.get("g_per_cup")
        if isinstance(stated, int | float) and stated > 0:
            per_cup = (float(stated), stated * (1.0 - STATED_DOUBT_FRAC), stated * (1.0 + STATED_DOUBT_FRAC))
        else:
            known = row_of(what, kind)
            usual = CUP_G.get(kind) if known is None else known.row.cup_g
            if usual is None:
                return None
            per_cup = usual
        return volume_weight(number * MILLILITRES[unit], per_cup)
    if unit is Unit.PIECE:
        known = row_of(what, kind)
        piece_g = None if known is None else known.row.piece_g
        return None if piece_g is None else Weight(*(number * each for each in piece_g))
    if unit is Unit.ALL:
        source = next((part for part in before if part.name == what), None)
        return None if source is None else weighed(source.mass_g)
    return None if not flour_g or kind is IngredientKind.FLOUR else weighed(number / 100.0 * flour_g)


def _no_weight(kind: IngredientKind, amount: Amount) -> str:
    if amount.unit is Unit.PERCENT:
        if kind is IngredientKind.FLOUR:
            return Translatable("percent is counted on this part's own flour, so flour itself is given as a weight")
        return Translatable("percent is counted on this part's own flour, and there is none: give a weight")
    if amount.unit is Unit.ALL:
        return Translatable("only a part above it can be used all")
    if amount.unit is Unit.PIECE:
        return Translatable("say what it weighs: a number alone is known for eggs only")
    return Translatable(
        'what a cup of it weighs is not known; say it: { amount = "1 cup", g_per_cup = 140 }, or weigh it'
    )


# -- stages and bake --------------------------------------------------------------------------------------------------


def _stage(row: Mapping[str, Any], prefix: str, parts: list[str], faults: Faults) -> MethodStage:
    faults.unknown(row, _STAGE_KEYS, prefix)
    stage = faults.choice(row, "stage", prefix, Stage)
    part = row.get("part", parts[-1] if parts else "")
    if part not in parts and parts:
        faults.report(
            "{prefix}part = {part} must be one of: {parts}", prefix=prefix, part=shown(part), parts=", ".join(parts)
        )
    goals = [key for key in ("rise_pct", "target", "hours") if key in row]
    if len(goals) != 1:
        faults.report(
            '{prefix}say what it waits for, one of: rise_pct = 75, target = "peak", hours = 12', prefix=prefix
        )
    if "target" in row and row["target"] != "peak":
        faults.report('{prefix}target must be "peak"; a rise is given as rise_pct = 75', prefix=prefix)
    rise_pct = faults.number(row, "rise_pct", prefix, at_most=LARGEST_RISE_PCT)
    place = place_of(row, prefix, faults) or (REFRIGERATOR if stage is Stage.RETARD else ROOM)
    steps = tuple(
        step
        for number, each in enumerate(faults.rows(row, "step"), start=1)
        if (step := work_step(each, f"{prefix}step {number}: ", faults)) is not None
    )
    hours, longest_h = _hours(row, prefix, faults)
    in_bulk = row.get("in_bulk", False)
    if not isinstance(in_bulk, bool) or (in_bulk and stage is not Stage.RETARD):
        faults.report("{prefix}in_bulk = true is of a retard that is divided afterwards", prefix=prefix)
    vessel_table = row.get("vessel")
    nodes_table = row.get("nodes", {})
    if not isinstance(vessel_table, Mapping | None) or not isinstance(nodes_table, Mapping):
        faults.report("{prefix}vessel and nodes are tables: [stage.vessel], [stage.nodes]", prefix=prefix)
        vessel_table, nodes_table = None, {}

    def minutes(key: str) -> float:
        return faults.number(row, key, prefix, at_most=LONGEST_WORK_MIN, can_be_zero=True) or 0.0

    found = MethodStage(
        part=str(part),
        stage=stage or Stage.FIRST_RISE,
        target=Target(None) if "target" in row else Target() if rise_pct is None else Target(rise_pct),
        hours=hours,
        longest_h=longest_h,
        place=place,
        cold_h=faults.number(row, "cold_h", prefix, at_most=LONGEST_STAGE_H, can_be_zero=True) or 0.0,
        good_to_rise_pct=faults.number(row, "good_to_rise_pct", prefix, at_most=LARGEST_RISE_PCT),
        hands_min=minutes("hands_min") if "hands_min" in row else work_before_min(steps),
        mixer_min=minutes("mixer_min") if "mixer_min" in row else sum(step.mixer_min for step in steps),
        dough_c=faults.number(row, "dough_c", prefix, at_most=MEANT_TEMPS_C[1]),
        takes=faults.whole(row, "takes", prefix, at_most=MOST_PIECES) or 1,
        vessel=None if vessel_table is None else vessel_of(vessel_table, faults),
        nodes=nodes_of(nodes_table, faults),
        sample_g=faults.number(row, "sample_g", prefix, at_most=LARGEST_G),
        steps=steps,
        cue=cue_of(row, prefix, faults),
        in_bulk=in_bulk is True,
    )
    if found.hands_min < work_before_min(steps):
        faults.report(
            "{prefix}hands_min = {hands_min} is less than its steps come to, {steps_min} min with their rests; leave "
            "hands_min out, and it is counted from them",
            prefix=prefix,
            hands_min=Number(found.hands_min, "g"),
            steps_min=Number(work_before_min(steps), "g"),
        )
    last_min = None if hours is None else 60.0 * (longest_h or hours)
    if last_min is not None and any(at >= last_min for at in found.folds_min):
        faults.report(
            "{prefix}a fold {at} min after the stage begins comes after its end",
            prefix=prefix,
            at=Number(found.folds_min[-1], "g"),
        )
    if found.mixer_min > found.hands_min:
        faults.report("{prefix}mixer_min lies within hands_min: somebody stands at the mixer", prefix=prefix)
    if rise_pct is not None and found.good_to_rise_pct is not None and found.good_to_rise_pct <= rise_pct:
        faults.report(
            "{prefix}good_to_rise_pct must be above rise_pct: it is where over-proofing begins", prefix=prefix
        )
    return found


def _hours(row: Mapping[str, Any], prefix: str, faults: Faults) -> tuple[float | None, float | None]:
    """How long a stage by the clock stands: the least, and the most where a range is given. [h]"""
    written = row.get("hours")
    if not isinstance(written, list):
        return faults.number(row, "hours", prefix, at_most=LONGEST_STAGE_H), None
    ends = [
        faults.number({"hours": each}, "hours", prefix, at_most=LONGEST_STAGE_H) if len(written) == 2 else None
        for each in written
    ]
    if len(ends) == 2 and ends[0] is not None and ends[1] is not None and ends[0] < ends[1]:
        return ends[0], ends[1]
    faults.report(
        "{prefix}hours = {hours} must be a number of hours, or the least and the most of them, such as [12, 18]",
        prefix=prefix,
        hours=shown(written),
    )
    return None, None


# -- back to a file ---------------------------------------------------------------------------------------------------


def grams_text(mass_g: float) -> str:
    """A weight as scales show it: to the gram from 50 g on, finer below.

    >>> grams_text(712.6), grams_text(20.04), grams_text(0.604)
    ('713 g', '20 g', '0.6 g')
    """
    digits = 0 if mass_g >= 50.0 else 1 if mass_g >= 5.0 else 2
    text = f"{mass_g:.{digits}f}"
    return f"{text.rstrip('0').rstrip('.') if '.' in text else text} g"


def recipe_toml(recipe: Recipe) -> str:
    """A recipe as the text of a file that :func:`recipe_from_toml` reads; weights are rounded as scales show them."""
    table: dict[str, object] = {"name": recipe.name}
    if recipe.note:
        table["note"] = recipe.note
    if recipe.pieces != 1:
        table["pieces"] = recipe.pieces
    if recipe.piece_g is not None:
        table["piece_g"] = short_number(round(recipe.piece_g, 2))
    if recipe.dividing_loss_pct:
        table["dividing_loss_pct"] = short_number(recipe.dividing_loss_pct)
    table["part"] = [_part_table(part, recipe) for part in recipe.parts]
    if recipe.method:
        table["stage"] = [_stage_table(stage) for stage in recipe.method]
    if recipe.bake is not None:
        table["bake"] = bake_table(recipe.bake)
    return tomlkit.dumps(table)


def _part_table(part: Part, recipe: Recipe) -> dict[str, object]:
    ingredients = {each.name: _ingredient_value(each, recipe) for each in part.ingredients}
    return {"name": part.name, "kind": part.kind.value, "ingredients": ingredients}


def _ingredient_value(ingredient: Ingredient, recipe: Recipe) -> object:
    amount = grams_text(ingredient.weight.g)
    if ingredient.kind is IngredientKind.PART:
        is_all = abs(recipe.part(ingredient.name).mass_g - ingredient.weight.g) < 1e-6 * ingredient.weight.g
        return "all" if is_all else amount
    table = tomlkit.inline_table()
    table["amount"] = amount
    known = recognised(ingredient.name)
    if known is None or known.row.kind is not ingredient.kind:
        table["kind"] = ingredient.kind.value
    if ingredient.hydration_pct is not None:
        table["hydration_pct"] = short_number(ingredient.hydration_pct)
    if ingredient.flour:
        table["flour"] = ingredient.flour
    if ingredient.declared is not None:
        for key, name in _SHARES.items():
            if share := getattr(ingredient.declared, name):
                table[key] = short_number(round(100.0 * share, 6))
    return amount if len(table) == 1 else table


def _stage_table(stage: MethodStage) -> dict[str, object]:
    table: dict[str, object] = {"part": stage.part, "stage": stage.stage.value}
    if stage.hours is not None:
        least = short_number(stage.hours)
        table["hours"] = least if stage.longest_h is None else [least, short_number(stage.longest_h)]
    elif stage.target.rise_pct is None:
        table["target"] = "peak"
    else:
        table["rise_pct"] = short_number(stage.target.rise_pct)
    table["place"] = stage.place
    for key in ("cold_h", "good_to_rise_pct", "hands_min", "mixer_min", "dough_c", "sample_g"):
        value = getattr(stage, key)
        if value:
            table[key] = short_number(value)
    if stage.takes != 1:
        table["takes"] = stage.takes
    if stage.vessel is not None:
        table["vessel"] = vessel_table(stage.vessel)
    if stage.nodes:
        table["nodes"] = {channel.value: node for channel, node in stage.nodes}
    if stage.in_bulk:
        table["in_bulk"] = True
    if stage.cue:
        table["cue"] = stage.cue
    if stage.steps:
        table["step"] = [work_step_table(step) for step in stage.steps]
    return table
