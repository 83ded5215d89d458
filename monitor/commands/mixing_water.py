"""``formula water`` and ``formula mixed``: how warm the water must be, and what a mixer adds, learned from doughs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from monitor.commands.parameters import FILE, NAMED_TEMPERATURE, POSITIVE, TEMPERATURE, TEMPERATURE_DIFFERENCE
from monitor.commands.terminal import config_of, data_dir, examples, refuse_both
from monitor.errors import ConfigError
from monitor.settings.data_dir import DATABASE_NAME
from monitor.translatable import N_, Number

if TYPE_CHECKING:
    from monitor.recipe.mixing import Friction
    from monitor.recipe.parts import Part, Recipe
    from monitor.wording.reader import Reader

STATUS_NO_WATER_DOES = 2

RECIPE = click.argument("file", type=FILE, metavar="[RECIPE.toml]", required=False)
PART = click.option("--part", "part_name", metavar="NAME", help="Part of the recipe (default: the dough).")
FLOUR = click.option("--flour", "flour_c", type=TEMPERATURE, help="Flour temperature (default: of the room).")
ROOM = click.option("--room", "room_c", type=TEMPERATURE, help="Room temperature (default: of the kitchen file).")
PREFERMENT = click.option(
    "--preferment", "preferment_c", type=TEMPERATURE, help="Preferment or starter (default: of where it stood)."
)


@click.command(
    "water",
    epilog=examples(
        "formula water alder.toml --room 22C",
        "formula water alder.toml --part dough --dough 25C --flour 20C --room 22C --preferment 5C --mixer bench",
        "formula water --dough 25C --flour 20C --room 22C",
    ),
)
@RECIPE
@PART
@click.option("--dough", "dough_c", type=TEMPERATURE, help="Dough temperature wanted (default: of the recipe).")
@FLOUR
@ROOM
@PREFERMENT
@click.option("--temp", "temps", type=NAMED_TEMPERATURE, multiple=True, help="Of one ingredient: milk=5C. Repeatable.")
@click.option("--tap", "tap_c", type=TEMPERATURE, help="Coldest water at hand; below it ice is weighed.")
@click.option(
    "--friction", "friction_c", type=TEMPERATURE_DIFFERENCE, help="By how much mixing warms the dough itself: 3C."
)
@click.option(
    "--friction-factor",
    "factor_c",
    type=TEMPERATURE_DIFFERENCE,
    help="Without a recipe: what the rule of thumb adds to its sum, three or four times that.",
)
@click.option("--mixer", metavar="NAME", help="Use what was learned about this mixer.")
@click.option("--minutes", type=POSITIVE, metavar="MIN", help="Minutes of mixing (default: of the recipe, or 8).")
@data_dir
def water(
    file: Path | None,
    part_name: str | None,
    dough_c: float | None,
    flour_c: float | None,
    room_c: float | None,
    preferment_c: float | None,
    temps: tuple[tuple[str, float], ...],
    tap_c: float | None,
    friction_c: float | None,
    factor_c: float | None,
    mixer: str | None,
    minutes: float | None,
    data_dir: Path,
) -> int:
    """Say how warm the water must be for a dough temperature.

    With a recipe, by the heat of everything that goes in; without, by the trade's rule of thumb, which leaves the
    masses out. The exit status is 2 when no water will do.
    """
    from monitor.recipe.heat_balance import (
        USUAL_MIX_MIN,
        USUAL_TAP_C,
        Surroundings,
        heat_shares,
        mixed_to_c,
        mixer_min,
        water_needed,
    )
    from monitor.wording.mixing_water import balance_lines, water_sentence

    refuse_both(friction=friction_c, friction_factor=factor_c)
    reader = config_of(data_dir).reader
    if file is None:
        if dough_c is None or flour_c is None or room_c is None:
            raise ConfigError("name a recipe, or say --dough, --flour and --room")
        if factor_c is not None:
            friction_c = factor_c / (3 if preferment_c is None else 4)
        rise_c, sd_c, whence = _friction(friction_c, mixer, minutes or USUAL_MIX_MIN, data_dir, reader, by_rule=True)
        return _by_rule(dough_c, flour_c, room_c, preferment_c, rise_c, sd_c, whence, reader)
    if factor_c is not None:
        raise ConfigError(
            "--friction-factor is of the rule of thumb; with a recipe say --friction, the dough's own rise"
        )
    recipe, part = _part_of(file, part_name)
    wanted_c = dough_c if dough_c is not None else mixed_to_c(recipe, part)
    if wanted_c is None:
        raise ConfigError("{file}: does not say how warm {part} is to be; say --dough", file=file, part=part.name)
    room_c, cold_c = kitchen(room_c, data_dir)
    rise_c, sd_c, whence = _friction(friction_c, mixer, minutes or mixer_min(recipe, part), data_dir, reader)
    needed = water_needed(
        recipe,
        part,
        wanted_c=wanted_c,
        friction_c=rise_c,
        around=Surroundings(
            flour_c=room_c if flour_c is None else flour_c,
            room_c=room_c,
            cold_c=cold_c,
            preferment_c=preferment_c,
            by_name=_known(temps, part),
            tap_c=USUAL_TAP_C if tap_c is None else tap_c,
        ),
    )
    water_share, _ = heat_shares(recipe, part)
    click.echo(water_sentence(needed, reader, sd_c / water_share if water_share > 0.0 else 0.0))
    for line in balance_lines(needed, reader):
        click.echo(f"  {line}")
    own = N_("mixing warms the dough by {friction} °C ({whence})")
    click.echo("  " + reader.say(own, friction=Number(rise_c, ".1f"), whence=whence))
    log = N_("measure the dough afterwards, and log it with `formula mixed`")
    click.echo("  " + reader.say(log))
    return STATUS_NO_WATER_DOES if needed.impossible is not None else 0


def _by_rule(
    dough_c: float,
    flour_c: float,
    room_c: float,
    preferment_c: float | None,
    friction_c: float,
    sd_c: float,
    whence: str,
    reader: Reader,
) -> int:
    """Say what the trade's rule of thumb comes to, or that it comes to nothing that can be."""
    from monitor.recipe.formula import water_temp_c
    from monitor.recipe.heat_balance import WARMEST_WATER_C
    from monitor.wording.phrases import temp_text

    n = 3 if preferment_c is None else 4
    water_c = water_temp_c(
        dough_c=dough_c, flour_c=flour_c, room_c=room_c, friction_c=n * friction_c, preferment_c=preferment_c
    )
    can_be = 0.0 <= water_c <= WARMEST_WATER_C
    if not can_be:
        sentence = (
            N_("the rule of thumb finds no water for a dough of {dough}: it would have to be ice in part")
            if water_c < 0.0
            else N_("the rule of thumb finds no water for a dough of {dough}: it would be hot enough to harm yeast")
        )
    elif sd_c > 0.0:
        sentence = N_("water at {water}, give or take {doubt} °C, for a dough of {dough}")
    else:
        sentence = N_("water at {water}, for a dough of {dough}")
    doubt = Number(1.645 * n * sd_c, ".0f")
    click.echo(reader.say(sentence, water=temp_text(water_c, reader), doubt=doubt, dough=temp_text(dough_c, reader)))
    in_sum = N_("mixing warms the dough by {friction} °C, {factor} in the sum ({whence})")
    click.echo(
        "  "
        + reader.say(in_sum, friction=Number(friction_c, ".1f"), factor=Number(n * friction_c, ".1f"), whence=whence)
    )
    rule = N_("a rule that leaves the masses out: name the recipe, and it is worked out from them")
    click.echo("  " + reader.say(rule))
    return 0 if can_be else STATUS_NO_WATER_DOES


def _part_of(file: Path, name: str | None) -> tuple[Recipe, Part]:
    from monitor.settings.recipes import read_recipe

    recipe = read_recipe(file)
    try:
        return recipe, recipe.dough if name is None else recipe.part(name)
    except ValueError as err:
        raise ConfigError("{file}: {why}", file=file, why=err) from err


def kitchen(room_c: float | None, data_dir: Path) -> tuple[float, float]:
    """The room's air and the refrigerator's, by the kitchen file where nothing else is said. [C, C]"""
    from monitor.recipe.method import REFRIGERATOR, ROOM
    from monitor.settings.recipes import read_kitchen

    found = read_kitchen(None, data_dir)
    return found.place(ROOM).temp_c if room_c is None else room_c, found.place(REFRIGERATOR).temp_c


def _known(temps: tuple[tuple[str, float], ...], part: Part) -> dict[str, float]:
    names = {each.name.casefold() for each in part.ingredients}
    for name, _ in temps:
        if name.casefold() not in names:
            raise ConfigError(
                "--temp {name}: {part} has none; there are {known}",
                name=name,
                part=part.name,
                known=", ".join(each.name for each in part.ingredients),
            )
    return dict(temps)


def _friction(
    given_c: float | None, mixer: str | None, minutes: float, data_dir: Path, reader: Reader, *, by_rule: bool = False
) -> tuple[float, float, str]:
    """By how much mixing warms the dough, its doubt, and where that is from. [C, C, -]"""
    if given_c is not None:
        return given_c, 0.0, reader.say("as given")
    found = learned(mixer, data_dir, by_rule=by_rule)
    n = found.n_mixes
    whence = (
        reader.count(n, "learned from {n} mix", "learned from {n} mixes")
        if n
        else reader.say("a handbook's figure, nothing learned yet")
    )
    return *found.of(minutes), whence


def learned(mixer: str | None, data_dir: Path, *, by_rule: bool = False) -> Friction:
    """What a mixer adds, as the bakery's mixes say; the handbook's figure without a mixer, or mixes of it."""
    from monitor.recipe.mixing import learned_friction
    from monitor.store.store import Store

    database = data_dir / DATABASE_NAME
    if mixer is None or not database.exists():
        return learned_friction([])
    with Store(database) as store:
        return learned_friction(store.mixes.of(mixer), by_rule=by_rule)


@click.command(
    "mixed",
    epilog=examples(
        "formula mixed alder.toml --dough 26C --flour 20C --room 22C --water 28C --mixer spiral --minutes 10",
        "formula mixed --dough 26C --flour 20C --room 22C --water 28C --mixer spiral --minutes 10",
    ),
)
@RECIPE
@PART
@click.option("--dough", "dough_c", type=TEMPERATURE, required=True, help="Dough temperature, measured.")
@click.option("--flour", "flour_c", type=TEMPERATURE, required=True, help="Flour temperature.")
@click.option("--room", "room_c", type=TEMPERATURE, required=True, help="Room temperature.")
@click.option("--preferment", "preferment_c", type=TEMPERATURE, help="Preferment temperature, if there is one.")
@click.option("--water", "water_c", type=TEMPERATURE, required=True, help="Water temperature.")
@click.option("--mixer", required=True, metavar="NAME", help="The mixer, as you call it.")
@click.option("--minutes", type=POSITIVE, required=True, metavar="MIN", help="Minutes of mixing.")
@data_dir
def mixed(
    file: Path | None,
    part_name: str | None,
    dough_c: float,
    flour_c: float,
    room_c: float,
    preferment_c: float | None,
    water_c: float,
    mixer: str,
    minutes: float,
    data_dir: Path,
) -> None:
    """Log how warm a dough came out of the mixer.

    What mixing adds is learned from it; with a recipe, by the masses of what went in.
    """
    from monitor.recipe.heat_balance import heat_shares
    from monitor.recipe.mixing import Mix, learned_friction
    from monitor.store.pace import clock_of
    from monitor.store.store import Store
    from monitor.wording.times import duration_text

    reader = config_of(data_dir).reader
    shares = (None, None) if file is None else heat_shares(*_part_of(file, part_name))
    if shares[1] and preferment_c is None:
        raise ConfigError("{file}: there is a preferment in it; say --preferment, its temperature", file=file)
    with Store(data_dir / DATABASE_NAME) as store:
        mix = Mix(
            mixer=mixer,
            at=clock_of(store).now(),
            minutes=minutes,
            dough_c=dough_c,
            flour_c=flour_c,
            room_c=room_c,
            water_c=water_c,
            preferment_c=preferment_c,
            water_share=shares[0],
            preferment_share=shares[1],
        )
        store.mixes.add(mix)
        found = learned_friction(store.mixes.of(mixer))
    friction_c, sd_c = found.of(minutes)
    click.echo(
        reader.say(
            "{mixer}: {minutes} warmed the dough by {friction} °C; from {n} in all, {expected} °C is expected, give or "
            "take {doubt}",
            mixer=mixer,
            minutes=duration_text(minutes),
            friction=Number(mix.friction_c, ".1f"),
            n=found.n_mixes,
            expected=Number(friction_c, ".1f"),
            doubt=Number(1.645 * sd_c, ".1f"),
        )
    )
