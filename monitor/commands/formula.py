"""``formula``: check, scale and print recipes; convert yeast; how warm the water must be."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import click

from monitor.commands.parameters import FILE, PIECES, POSITIVE, TEMPERATURE, TEMPERATURE_DIFFERENCE, WEIGHT
from monitor.commands.terminal import Group, config_of, data_dir, examples, refuse_both
from monitor.errors import ConfigError
from monitor.recipe.formula import YeastForm, water_temp_c, yeast_g
from monitor.settings.data_dir import DATABASE_NAME
from monitor.translatable import N_, Number

STATUS_DOES_NOT_ADD_UP = 2
USUAL_MIX_MIN = 8.0  # a handbook's example (seen)
WARMEST_WATER_C = 43.0  # judgement: hotter water harms yeast it meets undiluted

Command = TypeVar("Command", bound=Callable[..., object])

RECIPE = click.argument("file", type=FILE, metavar="RECIPE.toml")
YEAST = click.Choice([str(form) for form in YeastForm])


def _temperatures(command: Command) -> Command:
    """Give a command the temperatures that decide the water's."""
    for option in (
        click.option("--preferment", "preferment_c", type=TEMPERATURE, help="Preferment temperature, if there is one."),
        click.option("--room", "room_c", type=TEMPERATURE, required=True, help="Room temperature."),
        click.option("--flour", "flour_c", type=TEMPERATURE, required=True, help="Flour temperature."),
        click.option(
            "--dough", "dough_c", type=TEMPERATURE, required=True, help="Dough temperature, wanted or measured: 25C."
        ),
    ):
        command = option(command)
    return command


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as err:
        raise ConfigError("{path}: cannot be written ({why}); name another place", path=path, why=err.strerror) from err


@click.group(
    "formula",
    cls=Group,
    epilog=examples(
        "formula check oat-loaf.toml",
        "formula scale oat-loaf.toml --pieces 12x900g",
        "formula water --dough 25C --flour 20C --room 22C",
    ),
)
def command() -> None:
    """Check, scale and print recipes; water temperature."""


@command.command("check", epilog=examples("formula check oat-loaf.toml"))
@RECIPE
@data_dir
def check(file: Path, data_dir: Path) -> int:
    """Show a recipe, what it comes to, and what does not add up.

    The exit status is 2 when it does not add up.
    """
    from monitor.recipe.findings import recipe_findings
    from monitor.settings.recipes import read_recipe
    from monitor.wording import recipe_sheet

    reader, recipe = config_of(data_dir).reader, read_recipe(file)
    for line in recipe_sheet.lines(recipe, reader):
        click.echo(line)
    return STATUS_DOES_NOT_ADD_UP if recipe_findings(recipe) else 0


@command.command(
    "scale",
    epilog=examples(
        "formula scale oat-loaf.toml --pieces 12x900g",
        "formula scale oat-loaf.toml --flour 5kg --out large.toml",
        "formula scale oat-loaf.toml --preferment 450g --of sourdough",
        "formula scale oat-loaf.toml --yeast fresh",
    ),
)
@RECIPE
@click.option("--flour", "flour_g", type=WEIGHT, help="All flour, preferments counted in: 5kg.")
@click.option("--dough", "dough_g", type=WEIGHT, help="All dough: 10kg.")
@click.option("--pieces", type=PIECES, help="Pieces and their weight: 12x900g.")
@click.option("--preferment", "preferment_g", type=WEIGHT, help="What there is of a preferment: 450g.")
@click.option("--of", metavar="PART", help="With --preferment: which (default: the first part).")
@click.option("--yeast", type=YEAST, help="Exchange all baker's yeast.")
@click.option("--out", type=FILE, metavar="FILE", help="Write a recipe file, do not show it.")
@data_dir
def scale(
    file: Path,
    flour_g: float | None,
    dough_g: float | None,
    pieces: tuple[int, float] | None,
    preferment_g: float | None,
    of: str | None,
    yeast: str | None,
    out: Path | None,
    data_dir: Path,
) -> None:
    """Make another amount of a recipe, or use another form of yeast."""
    from monitor.recipe.parts import (
        scaled_to_dough,
        scaled_to_flour,
        scaled_to_pieces,
        scaled_to_preferment,
        with_yeast,
    )
    from monitor.recipe.recipe_file import recipe_toml
    from monitor.settings.recipes import read_recipe
    from monitor.wording import recipe_sheet
    from monitor.wording.phrases import mass_text

    refuse_both(flour=flour_g, dough=dough_g, pieces=pieces, preferment=preferment_g)
    reader, recipe = config_of(data_dir).reader, read_recipe(file)
    if yeast is not None:
        recipe = with_yeast(recipe, YeastForm(yeast))
    try:
        if flour_g is not None:
            recipe = scaled_to_flour(recipe, flour_g)
        elif dough_g is not None:
            recipe = scaled_to_dough(recipe, dough_g)
        elif pieces is not None:
            recipe = scaled_to_pieces(recipe, *pieces)
        elif preferment_g is not None:
            recipe = scaled_to_preferment(recipe, recipe.part(of or recipe.parts[0].name), preferment_g)
    except ValueError as err:
        raise ConfigError("{file}: {why}", file=file, why=err) from err
    if out is None:
        for line in recipe_sheet.lines(recipe, reader):
            click.echo(line)
    else:
        _write(out, recipe_toml(recipe))
        mass = mass_text(recipe.dough.mass_g, reader)
        click.echo(reader.say("{file}: {recipe}, {mass} of dough", file=out, recipe=recipe.name, mass=mass))


@command.command("convert", epilog=examples("formula convert 20g fresh instant"))
@click.argument("weight_g", type=WEIGHT, metavar="WEIGHT")
@click.argument("have", type=YEAST, metavar="HAVE")
@click.argument("want", type=YEAST, metavar="WANT")
@data_dir
def convert(weight_g: float, have: str, want: str, data_dir: Path) -> None:
    """Turn yeast of one form into another.

    HAVE and WANT are each fresh, instant or "active dry".
    """
    from monitor.recipe.recipe_file import grams_text

    the_same = N_("{weight} of {have} yeast do the work of {grams} of {want} yeast")
    grams = grams_text(yeast_g(weight_g, YeastForm(have), YeastForm(want)))
    click.echo(
        config_of(data_dir).reader.say(
            the_same, weight=grams_text(weight_g), have=YeastForm(have), grams=grams, want=YeastForm(want)
        )
    )


@command.command(
    "water",
    epilog=examples(
        "formula water --dough 25C --flour 20C --room 22C",
        "formula water --dough 25C --flour 20C --room 22C --preferment 21C --mixer spiral --minutes 10",
    ),
)
@_temperatures
@click.option("--friction", "friction_c", type=TEMPERATURE_DIFFERENCE, help="What mixing adds to the sum.")
@click.option("--mixer", metavar="NAME", help="Use what was learned about this mixer.")
@click.option(
    "--minutes", type=POSITIVE, default=USUAL_MIX_MIN, show_default=True, metavar="MIN", help="Minutes of mixing."
)
@data_dir
def water(
    dough_c: float,
    flour_c: float,
    room_c: float,
    preferment_c: float | None,
    friction_c: float | None,
    mixer: str | None,
    minutes: float,
    data_dir: Path,
) -> None:
    """Say how warm the water must be for a dough temperature."""
    from monitor.recipe.mixing import learned_friction
    from monitor.store.store import Store
    from monitor.wording.phrases import temp_text

    reader = config_of(data_dir).reader
    if friction_c is not None:
        sd_c, whence = 0.0, reader.say("as given")
    else:
        database = data_dir / DATABASE_NAME
        mixes = []
        if mixer is not None and database.exists():
            with Store(database) as store:
                mixes = store.mixes.of(mixer)
        learned = learned_friction(mixes)
        friction_c, sd_c = learned.of(minutes)
        n = learned.n_mixes
        whence = (
            reader.count(n, "learned from {n} mix", "learned from {n} mixes")
            if n
            else reader.say("a handbook's figure, nothing learned yet")
        )
    water_c = water_temp_c(
        dough_c=dough_c, flour_c=flour_c, room_c=room_c, friction_c=friction_c, preferment_c=preferment_c
    )
    told = (
        N_("water at {water}, give or take {doubt} °C, for a dough of {dough}")
        if sd_c > 0.0
        else N_("water at {water}, for a dough of {dough}")
    )
    doubt = Number(1.645 * sd_c, ".0f")
    click.echo(reader.say(told, water=temp_text(water_c, reader), doubt=doubt, dough=temp_text(dough_c, reader)))
    in_sum = N_("friction {friction} °C in the sum ({whence})")
    click.echo("  " + reader.say(in_sum, friction=Number(friction_c, ".1f"), whence=whence))
    if water_c < 0.0:
        click.echo("  " + reader.say("below freezing: part of the water must be ice, or the flour colder"))
    elif water_c > WARMEST_WATER_C:
        too_hot = N_("hot enough to harm yeast that meets it undiluted: warm the flour or the room instead")
        click.echo("  " + reader.say(too_hot))
    rule = N_("a rule that leaves the masses out: measure the dough afterwards, and log it with `formula mixed`")
    click.echo("  " + reader.say(rule))


@command.command(
    "mixed",
    epilog=examples("formula mixed --dough 26C --flour 20C --room 22C --water 28C --mixer spiral --minutes 10"),
)
@_temperatures
@click.option("--water", "water_c", type=TEMPERATURE, required=True, help="Water temperature.")
@click.option("--mixer", required=True, metavar="NAME", help="The mixer, as you call it.")
@click.option("--minutes", type=POSITIVE, required=True, metavar="MIN", help="Minutes of mixing.")
@data_dir
def mixed(
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

    What mixing adds is learned from it.
    """
    from monitor.recipe.mixing import Mix, learned_friction
    from monitor.store.pace import clock_of
    from monitor.store.store import Store
    from monitor.wording.times import duration_text

    reader = config_of(data_dir).reader
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
        )
        store.mixes.add(mix)
        learned = learned_friction(store.mixes.of(mixer))
    friction_c, sd_c = learned.of(minutes)
    click.echo(
        reader.say(
            "{mixer}: {minutes} added {friction} °C to the sum; from {n} in all, {expected} °C is expected, give or "
            "take {doubt}",
            mixer=mixer,
            minutes=duration_text(minutes),
            friction=Number(mix.friction_c, ".1f"),
            n=learned.n_mixes,
            expected=Number(friction_c, ".1f"),
            doubt=Number(1.645 * sd_c, ".0f"),
        )
    )


@command.command(
    "sheet",
    epilog=examples("formula sheet oat-loaf.toml", "formula sheet oat-loaf.toml --pieces 12x900g --out today.html"),
)
@RECIPE
@click.option("--pieces", type=PIECES, help="For so many pieces: 12x900g.")
@click.option("--out", type=FILE, metavar="FILE.html", help="File to write (default: beside the recipe).")
@data_dir
def sheet(file: Path, pieces: tuple[int, float] | None, out: Path | None, data_dir: Path) -> None:
    """Write a page to print, with large weights."""
    from monitor.recipe.parts import scaled_to_pieces
    from monitor.settings.recipes import read_recipe
    from monitor.wording import recipe_sheet

    reader, recipe = config_of(data_dir).reader, read_recipe(file)
    if pieces is not None:
        recipe = scaled_to_pieces(recipe, *pieces)
    target = out if out is not None else file.with_suffix(".html")
    _write(target, recipe_sheet.sheet_html(recipe, reader))
    click.echo(reader.say("{target}: open it in a browser and print it", target=target))
