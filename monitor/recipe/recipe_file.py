"""A recipe from its TOML file and back to one."""

from collections.abc import Mapping
from typing import Any

import tomlkit

from monitor.recipe.batch import DEFAULT_PREHEAT_MIN, LARGEST_G, LARGEST_RISE_PCT, LONGEST_PREHEAT_MIN, Stage, Target
from monitor.recipe.ingredients import CUP_G, PIECE_G, STATED_DOUBT_FRAC, IngredientKind, kind_of
from monitor.recipe.measures import GRAMS, MILLILITRES, Amount, Unit, Weight, amount_of, volume_weight, weighed
from monitor.recipe.method import REFRIGERATOR, ROOM, Bake, MethodStage
from monitor.recipe.parts import Ingredient, Part, PartKind, Recipe
from monitor.recipe.toml_tables import Faults, name_of, nodes_of, short_number, shown, vessel_of, vessel_table
from monitor.translatable import Translatable

LONGEST_STAGE_H = 240.0
LONGEST_WORK_MIN = 600.0
MOST_PIECES = 5000
HOTTEST_OVEN_C = 500.0
WARMEST_DOUGH_C = 45.0
_INGREDIENT_KEYS = ("amount", "kind", "g_per_cup", "hydration_pct")
_STAGE_KEYS = (
    "part", "stage", "rise_pct", "target", "hours", "place", "cold_h", "good_to_rise_pct", "hands_min", "mixer_min",
    "dough_c", "takes", "sample_g", "vessel", "nodes",
)  # fmt: skip
_BAKE_KEYS = ("minutes", "oven_c", "preheat_min", "steam_min", "at_once", "stagger_min", "chill_min")


def recipe_from_toml(table: Mapping[str, Any], where: str) -> Recipe:
    """A recipe from a parsed recipe file.

    Raises
    ------
    ConfigError
        With every fault of the file at once: what, where, and what would be right.
    """
    faults = Faults(where, Translatable("a recipe file"))
    faults.unknown(table, ("name", "note", "pieces", "piece_g", "part", "stage", "bake"), "")
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
    bake_table = faults.table(table, "bake")
    bake = None if bake_table is None else _bake(bake_table, faults)
    note = table.get("note", "")
    faults.raise_any()
    assert name is not None
    return Recipe(name, tuple(parts), pieces or 1, piece_g, method, bake, str(note))


def _part(row: Mapping[str, Any], prefix: str, before: list[Part], faults: Faults) -> Part | None:
    faults.unknown(row, ("name", "kind", "ingredients"), prefix)
    name = name_of(row, "name", Translatable("part"), faults)
    kind = faults.choice(row, "kind", prefix, PartKind) if "kind" in row else PartKind.DOUGH
    lines = row.get("ingredients")
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
        ingredients.append(Ingredient(what, each, weight, str(keys["amount"]), keys.get("hydration_pct")))
    return Part(name, kind, tuple(ingredients))


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
    else:
        kind = kind_of(what)
        if kind is None:
            kinds = ", ".join(each for each in IngredientKind if each is not IngredientKind.PART)
            faults.report(
                "{prefix}is neither a part above it nor known by its name; say what it is: {{ amount = "
                '"50 g", kind = "other" }}, one of {kinds}',
                prefix=prefix,
                kinds=kinds,
            )
    faults.number(table, "g_per_cup", prefix, at_most=1000.0)
    faults.number(table, "hydration_pct", prefix, at_most=500.0)
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
        elif kind in CUP_G:
            per_cup = CUP_G[kind]
        else:
            return None
        return volume_weight(number * MILLILITRES[unit], per_cup)
    if unit is Unit.PIECE:
        return Weight(*(number * each for each in PIECE_G[kind])) if kind in PIECE_G else None
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
    place = row.get("place", REFRIGERATOR if stage is Stage.RETARD else ROOM)
    if not isinstance(place, str) or not place.strip():
        faults.report(
            "{prefix}place = {place} must be the name of a place in the kitchen", prefix=prefix, place=shown(place)
        )
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
        hours=faults.number(row, "hours", prefix, at_most=LONGEST_STAGE_H),
        place=str(place).strip(),
        cold_h=faults.number(row, "cold_h", prefix, at_most=LONGEST_STAGE_H, can_be_zero=True) or 0.0,
        good_to_rise_pct=faults.number(row, "good_to_rise_pct", prefix, at_most=LARGEST_RISE_PCT),
        hands_min=minutes("hands_min"),
        mixer_min=minutes("mixer_min"),
        dough_c=faults.number(row, "dough_c", prefix, at_most=WARMEST_DOUGH_C),
        takes=faults.whole(row, "takes", prefix, at_most=MOST_PIECES) or 1,
        vessel=None if vessel_table is None else vessel_of(vessel_table, faults),
        nodes=nodes_of(nodes_table, faults),
        sample_g=faults.number(row, "sample_g", prefix, at_most=LARGEST_G),
    )
    if found.mixer_min > found.hands_min:
        faults.report("{prefix}mixer_min lies within hands_min: somebody stands at the mixer", prefix=prefix)
    if rise_pct is not None and found.good_to_rise_pct is not None and found.good_to_rise_pct <= rise_pct:
        faults.report(
            "{prefix}good_to_rise_pct must be above rise_pct: it is where over-proofing begins", prefix=prefix
        )
    return found


def _bake(table: Mapping[str, Any], faults: Faults) -> Bake | None:
    faults.unknown(table, _BAKE_KEYS, "bake.")
    for key in ("minutes", "oven_c"):
        if key not in table:
            faults.report("bake.{key} is missing", key=key)
    minutes = faults.number(table, "minutes", "bake.", at_most=LONGEST_WORK_MIN)
    oven_c = faults.number(table, "oven_c", "bake.", at_most=HOTTEST_OVEN_C)
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
    if minutes is None or oven_c is None:
        return None
    preheat_min = DEFAULT_PREHEAT_MIN if preheat_min is None else preheat_min
    return Bake(minutes, oven_c, preheat_min, tuple(sorted(map(float, steam))), at_once, *waits)


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
        table["piece_g"] = short_number(recipe.piece_g)
    table["part"] = [_part_table(part, recipe) for part in recipe.parts]
    if recipe.method:
        table["stage"] = [_stage_table(stage) for stage in recipe.method]
    if recipe.bake is not None:
        table["bake"] = _bake_table(recipe.bake)
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
    if kind_of(ingredient.name) is not ingredient.kind:
        table["kind"] = ingredient.kind.value
    if ingredient.hydration_pct is not None:
        table["hydration_pct"] = short_number(ingredient.hydration_pct)
    return amount if len(table) == 1 else table


def _stage_table(stage: MethodStage) -> dict[str, object]:
    table: dict[str, object] = {"part": stage.part, "stage": stage.stage.value}
    if stage.hours is not None:
        table["hours"] = short_number(stage.hours)
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
    return table


def _bake_table(bake: Bake) -> dict[str, object]:
    table: dict[str, object] = {key: short_number(getattr(bake, key)) for key in ("minutes", "oven_c", "preheat_min")}
    if bake.steam_min:
        table["steam_min"] = [short_number(at) for at in bake.steam_min]
    if bake.at_once is not None:
        table["at_once"] = bake.at_once
    for key in ("stagger_min", "chill_min"):
        if getattr(bake, key):
            table[key] = short_number(getattr(bake, key))
    return table
