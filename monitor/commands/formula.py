"""What a baker does to formulas from the command line: check, scale, convert yeast, water temperature, print."""

import argparse
from pathlib import Path
from typing import TextIO

from monitor.errors import ConfigError
from monitor.recipe.findings import what_does_not_add_up
from monitor.recipe.formula import YeastForm, water_temp_c, yeast_g
from monitor.recipe.mixing import Mix, learned_friction
from monitor.recipe.parts import (
    Recipe,
    scaled_to_dough,
    scaled_to_flour,
    scaled_to_pieces,
    scaled_to_preferment,
    with_yeast,
)
from monitor.recipe.recipe_file import grams_text, recipe_toml
from monitor.settings.config import load_config
from monitor.settings.data_dir import DATABASE_NAME
from monitor.settings.recipes import read_recipe
from monitor.store.pace import clock_of
from monitor.store.plans import DayBook
from monitor.translatable import N_, Number
from monitor.wording import recipe_sheet
from monitor.wording.phrases import mass_text, temp_text
from monitor.wording.reader import Reader
from monitor.wording.times import duration_text

STATUS_DOES_NOT_ADD_UP = 2
WARMEST_WATER_C = 43.0  # judgement: hotter water harms yeast it meets undiluted


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as err:
        raise ConfigError("{path}: cannot be written ({why}); name another place", path=path, why=err.strerror) from err


def _check(args: argparse.Namespace, reader: Reader, out: TextIO) -> int:
    recipe = read_recipe(args.file)
    for line in recipe_sheet.lines(recipe, reader):
        print(line, file=out)
    return STATUS_DOES_NOT_ADD_UP if what_does_not_add_up(recipe) else 0


def _scaled(recipe: Recipe, args: argparse.Namespace) -> Recipe:
    if args.yeast is not None:
        recipe = with_yeast(recipe, YeastForm(args.yeast))
    try:
        if args.flour is not None:
            recipe = scaled_to_flour(recipe, args.flour)
        elif args.dough is not None:
            recipe = scaled_to_dough(recipe, args.dough)
        elif args.pieces is not None:
            recipe = scaled_to_pieces(recipe, *args.pieces)
        elif args.preferment is not None:
            name = args.of or recipe.parts[0].name
            recipe = scaled_to_preferment(recipe, recipe.part(name), args.preferment)
    except ValueError as err:
        raise ConfigError("{file}: {why}", file=args.file, why=err) from err
    return recipe


def _scale(args: argparse.Namespace, reader: Reader, out: TextIO) -> int:
    recipe = _scaled(read_recipe(args.file), args)
    if args.out is None:
        for line in recipe_sheet.lines(recipe, reader):
            print(line, file=out)
    else:
        _write(args.out, recipe_toml(recipe))
        print(
            reader.say(
                "{file}: {recipe}, {mass} of dough",
                file=args.out,
                recipe=recipe.name,
                mass=mass_text(recipe.dough.mass_g, reader),
            ),
            file=out,
        )
    return 0


def _convert(args: argparse.Namespace, reader: Reader, out: TextIO) -> int:
    have, want = YeastForm(args.have), YeastForm(args.want)
    grams = yeast_g(args.weight, have, want)
    print(
        reader.say(
            "{weight} of {have} yeast do the work of {grams} of {want} yeast",
            weight=grams_text(args.weight),
            have=have,
            grams=grams_text(grams),
            want=want,
        ),
        file=out,
    )
    return 0


def _daybook_of(data_dir: Path) -> DayBook:
    return DayBook(data_dir / DATABASE_NAME)


def _water(args: argparse.Namespace, reader: Reader, data_dir: Path, out: TextIO) -> int:
    if args.friction is not None:
        friction_c, sd_c, whence = args.friction, 0.0, reader.say("as given")
    else:
        database = data_dir / DATABASE_NAME
        mixes = []
        if args.mixer is not None and database.exists():
            with _daybook_of(data_dir) as book:
                mixes = book.mixes(args.mixer)
        learned = learned_friction(mixes)
        friction_c, sd_c = learned.of(args.minutes)
        n = learned.n_mixes
        whence = (
            reader.count(n, "learned from {n} mix", "learned from {n} mixes")
            if n
            else reader.say("a handbook's figure, nothing learned yet")
        )
    preferment_c = args.preferment
    water_c = water_temp_c(
        dough_c=args.dough, flour_c=args.flour, room_c=args.room, friction_c=friction_c, preferment_c=preferment_c
    )
    told = (
        N_("water at {water}, give or take {doubt} °C, for a dough of {dough}")
        if sd_c > 0.0
        else N_("water at {water}, for a dough of {dough}")
    )
    print(
        reader.say(
            told,
            water=temp_text(water_c, reader),
            doubt=Number(1.645 * sd_c, ".0f"),
            dough=temp_text(args.dough, reader),
        ),
        file=out,
    )
    print(
        "  "
        + reader.say("friction {friction} °C in the sum ({whence})", friction=Number(friction_c, ".1f"), whence=whence),
        file=out,
    )
    if water_c < 0.0:
        print("  " + reader.say("below freezing: part of the water must be ice, or the flour colder"), file=out)
    elif water_c > WARMEST_WATER_C:
        print(
            "  " + reader.say("hot enough to harm yeast that meets it undiluted: warm the flour or the room instead"),
            file=out,
        )
    print(
        "  "
        + reader.say(
            "a rule that leaves the masses out: measure the dough afterwards, and log it with `formula mixed`"
        ),
        file=out,
    )
    return 0


def _mixed(args: argparse.Namespace, reader: Reader, data_dir: Path, out: TextIO) -> int:
    with _daybook_of(data_dir) as book:
        mix = Mix(
            mixer=args.mixer,
            at=clock_of(book).now(),
            minutes=args.minutes,
            dough_c=args.dough,
            flour_c=args.flour,
            room_c=args.room,
            water_c=args.water,
            preferment_c=args.preferment,
        )
        book.add_mix(mix)
        learned = learned_friction(book.mixes(args.mixer))
    friction_c, sd_c = learned.of(args.minutes)
    print(
        reader.say(
            "{mixer}: {minutes} added {friction} °C to the sum; from {n} in all, {expected} °C is expected, give or "
            "take {doubt}",
            mixer=args.mixer,
            minutes=duration_text(args.minutes),
            friction=Number(mix.friction_c, ".1f"),
            n=learned.n_mixes,
            expected=Number(friction_c, ".1f"),
            doubt=Number(1.645 * sd_c, ".0f"),
        ),
        file=out,
    )
    return 0


def _sheet(args: argparse.Namespace, reader: Reader, out: TextIO) -> int:
    recipe = read_recipe(args.file)
    if args.pieces is not None:
        recipe = scaled_to_pieces(recipe, *args.pieces)
    target = args.out if args.out is not None else args.file.with_suffix(".html")
    _write(target, recipe_sheet.sheet_html(recipe, reader))
    print(reader.say("{target}: open it in a browser and print it", target=target), file=out)
    return 0


def run(args: argparse.Namespace, data_dir: Path, out: TextIO) -> int:
    """Run one ``formula`` action; the exit status comes back: 2 when a checked recipe does not add up."""
    reader = load_config(data_dir, {}).reader
    if args.action == "check":
        return _check(args, reader, out)
    if args.action == "scale":
        return _scale(args, reader, out)
    if args.action == "convert":
        return _convert(args, reader, out)
    if args.action == "water":
        return _water(args, reader, data_dir, out)
    if args.action == "mixed":
        return _mixed(args, reader, data_dir, out)
    return _sheet(args, reader, out)
