"""``formula``: check, scale and print recipes; convert yeast; how warm the water must be."""

from __future__ import annotations

from pathlib import Path

import click

from monitor.commands.mixing_water import kitchen, learned, mixed, water
from monitor.commands.parameters import FEED, FILE, PIECES, WEIGHT, YEAST_AMOUNT
from monitor.commands.terminal import Group, config_of, data_dir, examples, refuse_both
from monitor.errors import ConfigError
from monitor.recipe.formula import YeastForm, yeast_g
from monitor.recipe.measures import Amount
from monitor.translatable import N_, Number
from monitor.units import STANDARD_PRESSURE_PA

STATUS_DOES_NOT_ADD_UP = 2

RECIPE = click.argument("file", type=FILE, metavar="RECIPE.toml")
YEAST = click.Choice([str(form) for form in YeastForm])


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
        "formula scale oat-loaf.toml --baked 12x900g",
        "formula scale oat-loaf.toml --flour 5kg --out large.toml",
        "formula scale oat-loaf.toml --preferment 450g --of sourdough",
        "formula scale oat-loaf.toml --yeast fresh",
        "formula scale oat-loaf.toml --altitude 1600",
    ),
)
@RECIPE
@click.option("--flour", "flour_g", type=WEIGHT, help="All flour, preferments counted in: 5kg.")
@click.option("--dough", "dough_g", type=WEIGHT, help="All dough: 10kg.")
@click.option("--pieces", type=PIECES, help="Pieces and their weight as dough: 12x900g.")
@click.option("--baked", type=PIECES, help="Pieces and their weight out of the oven: 12x900g.")
@click.option("--preferment", "preferment_g", type=WEIGHT, help="What there is of a preferment: 450g.")
@click.option("--of", metavar="PART", help="With --preferment: which (default: the first part).")
@click.option("--yeast", type=YEAST, help="Exchange all baker's yeast.")
@click.option(
    "--altitude",
    "altitude_m",
    type=click.FloatRange(-500.0, 5000.0),
    metavar="METRES",
    help="Less baker's yeast, so that it rises up there as at the sea.",
)
@click.option("--out", type=FILE, metavar="FILE", help="Write a recipe file, do not show it.")
@data_dir
def scale(
    file: Path,
    flour_g: float | None,
    dough_g: float | None,
    pieces: tuple[int, float] | None,
    baked: tuple[int, float] | None,
    preferment_g: float | None,
    of: str | None,
    yeast: str | None,
    altitude_m: float | None,
    out: Path | None,
    data_dir: Path,
) -> None:
    """Make another amount of a recipe, or use another form of yeast."""
    from monitor.dough.air import standard_pressure_pa
    from monitor.recipe.parts import (
        scaled_to_baked,
        scaled_to_dough,
        scaled_to_flour,
        scaled_to_pieces,
        scaled_to_preferment,
        with_more_yeast,
        with_yeast,
    )
    from monitor.recipe.recipe_file import recipe_toml
    from monitor.settings.recipes import read_recipe
    from monitor.wording import recipe_sheet
    from monitor.wording.phrases import mass_text

    refuse_both(flour=flour_g, dough=dough_g, pieces=pieces, baked=baked, preferment=preferment_g)
    reader, recipe = config_of(data_dir).reader, read_recipe(file)
    if yeast is not None:
        recipe = with_yeast(recipe, YeastForm(yeast))
    if altitude_m is not None:  # so many moles of gas fill more room the thinner the air
        recipe = with_more_yeast(recipe, float(standard_pressure_pa(altitude_m)) / STANDARD_PRESSURE_PA)
    try:
        if flour_g is not None:
            recipe = scaled_to_flour(recipe, flour_g)
        elif dough_g is not None:
            recipe = scaled_to_dough(recipe, dough_g)
        elif pieces is not None:
            recipe = scaled_to_pieces(recipe, *pieces)
        elif baked is not None:
            recipe = scaled_to_baked(recipe, *baked)
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


@command.command("needs", epilog=examples("formula needs oat-loaf.toml rye.toml"))
@click.argument("files", type=FILE, nargs=-1, required=True, metavar="RECIPE.toml...")
@data_dir
def needs(files: tuple[Path, ...], data_dir: Path) -> None:
    """Add up what a day of several recipes needs.

    Each ingredient once, by its name in the recipes; a ripe starter as it is weighed.
    """
    from monitor.settings.recipes import read_recipe
    from monitor.wording.recipe_sheet import needed_lines

    for line in needed_lines([read_recipe(path) for path in files], config_of(data_dir).reader):
        click.echo(line)


@command.command(
    "convert", epilog=examples("formula convert 20g fresh instant", 'formula convert "2 1/4 tsp" instant fresh')
)
@click.argument("amount", type=YEAST_AMOUNT, metavar="AMOUNT")
@click.argument("have", type=YEAST, metavar="HAVE")
@click.argument("want", type=YEAST, metavar="WANT")
@data_dir
def convert(amount: Amount, have: str, want: str, data_dir: Path) -> None:
    """Turn yeast of one form into another.

    HAVE and WANT are each fresh, instant, osmotolerant or "active dry". Dry yeast may be given in teaspoons, and is
    told in them too, with what they may be off by.
    """
    from monitor.recipe.ingredients import CUP_G, YEASTS
    from monitor.recipe.measures import GRAMS, MILLILITRES, TEASPOONS_PER_CUP, volume_weight, weighed
    from monitor.wording.phrases import weigh_text

    reader = config_of(data_dir).reader
    per_cup_g = {YEASTS[kind]: cup_g for kind, cup_g in CUP_G.items() if kind in YEASTS}
    if amount.unit in GRAMS:
        weight = weighed(amount.number * GRAMS[amount.unit])
    elif YeastForm(have) in per_cup_g:
        weight = volume_weight(amount.number * MILLILITRES[amount.unit], per_cup_g[YeastForm(have)])
    else:
        raise ConfigError("fresh yeast is weighed: give grams, not spoons")
    factor = yeast_g(1.0, YeastForm(have), YeastForm(want))
    the_same = N_("{weight} of {have} yeast do the work of {grams} of {want} yeast")
    click.echo(
        reader.say(
            the_same,
            weight=weigh_text(weight.g, reader),
            have=YeastForm(have),
            grams=weigh_text(weight.g * factor, reader),
            want=YeastForm(want),
        )
    )
    if weight.is_doubtful:
        low, high = (weigh_text(each * factor, reader) for each in (weight.low_g, weight.high_g))
        click.echo("  " + reader.say("measured by spoon it may be {low} to {high}", low=low, high=high))
    if YeastForm(want) in per_cup_g:
        spoon_g, least_g, most_g = (each / TEASPOONS_PER_CUP for each in per_cup_g[YeastForm(want)])
        spoons, few, many = (Number(weight.g * factor / each, ".2g") for each in (spoon_g, most_g, least_g))
        click.echo("  " + reader.say("about {n} teaspoons, {few} to {many}", n=spoons, few=few, many=many))


@command.command("feed", epilog=examples("formula feed 1:5:5 --makes 220g", "formula feed 1:10:10 --starter 15g"))
@click.argument("ratio", type=FEED, metavar="STARTER:FLOUR:WATER")
@click.option("--makes", "makes_g", type=WEIGHT, help="How much sourdough is wanted: 220g.")
@click.option("--starter", "starter_g", type=WEIGHT, help="How much ripe starter there is: 20g.")
@data_dir
def feed(ratio: tuple[float, float, float], makes_g: float | None, starter_g: float | None, data_dir: Path) -> None:
    """Say what to weigh for a sourdough that is fed by a ratio.

    The ratio is by weight: ripe starter, flour, water.
    """
    from monitor.wording.phrases import weigh_text

    refuse_both(makes=makes_g, starter=starter_g)
    if makes_g is None and starter_g is None:
        raise ConfigError("say how much is wanted with --makes, or how much starter there is with --starter")
    each_g = (starter_g or 0.0) / ratio[0] if makes_g is None else makes_g / sum(ratio)
    reader = config_of(data_dir).reader
    starter, flour, water = (weigh_text(each_g * share, reader) for share in ratio)
    click.echo(
        reader.say(
            "{starter} of ripe starter, {flour} of flour, {water} of water; water is {hydration} % of the flour fed",
            starter=starter,
            flour=flour,
            water=water,
            hydration=Number(100.0 * ratio[2] / ratio[1], ".0f"),
        )
    )


@command.command(
    "sheet",
    epilog=examples("formula sheet oat-loaf.toml", "formula sheet oat-loaf.toml --pieces 12x900g --out today.html"),
)
@RECIPE
@click.option("--pieces", type=PIECES, help="For so many pieces: 12x900g.")
@click.option("--mixer", metavar="NAME", help="For the water's warmth: use what was learned about this mixer.")
@click.option("--out", type=FILE, metavar="FILE.html", help="File to write (default: beside the recipe).")
@data_dir
def sheet(file: Path, pieces: tuple[int, float] | None, mixer: str | None, out: Path | None, data_dir: Path) -> None:
    """Write a page to print, with large weights."""
    from monitor.recipe.parts import scaled_to_pieces
    from monitor.settings.recipes import read_recipe
    from monitor.wording import recipe_sheet

    reader, recipe = config_of(data_dir).reader, read_recipe(file)
    if pieces is not None:
        recipe = scaled_to_pieces(recipe, *pieces)
    target = out if out is not None else file.with_suffix(".html")
    _write(target, recipe_sheet.sheet_html(recipe, reader, learned(mixer, data_dir), kitchen(None, data_dir)[1]))
    click.echo(reader.say("{target}: open it in a browser and print it", target=target))


command.add_command(water)
command.add_command(mixed)
