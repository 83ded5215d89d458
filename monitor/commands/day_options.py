"""The options of ``formula`` and ``plan``."""

import argparse
from collections.abc import Callable
from pathlib import Path

from monitor.arguments import pieces, positive, temperature, temperature_difference, weight
from monitor.recipe.formula import YeastForm

Run = Callable[[argparse.Namespace], int]
AddPlace = Callable[[argparse.ArgumentParser], None]

USUAL_MIX_MIN = 8.0  # a handbook's example (seen)
_YEASTS = tuple(str(form) for form in YeastForm)


def add_formula(formula: argparse.ArgumentParser, add_place: AddPlace, run: Run) -> None:
    """The actions of ``formula``."""
    actions = formula.add_subparsers(dest="action", required=True, metavar="ACTION")

    check = actions.add_parser("check", help="show a recipe, what it comes to, and what does not add up")
    check.add_argument("file", type=Path, metavar="RECIPE.toml")

    scale = actions.add_parser("scale", help="another amount of it, or another form of yeast")
    scale.add_argument("file", type=Path, metavar="RECIPE.toml")
    size = scale.add_mutually_exclusive_group()
    size.add_argument("--flour", type=weight, metavar="WEIGHT", help="all flour, preferments counted in: 5kg")
    size.add_argument("--dough", type=weight, metavar="WEIGHT", help="dough: 10kg")
    size.add_argument("--pieces", type=pieces, metavar="NxWEIGHT", help="pieces and their weight: 12x900g")
    size.add_argument("--preferment", type=weight, metavar="WEIGHT", help="what there is of a preferment: 450g")
    scale.add_argument("--of", metavar="PART", help="with --preferment: which (default: the first part)")
    scale.add_argument("--yeast", choices=_YEASTS, help="exchange all baker's yeast")
    scale.add_argument("--out", type=Path, metavar="FILE", help="write a recipe file, do not show it")

    convert = actions.add_parser("convert", help="yeast of one form into another")
    convert.add_argument("weight", type=weight, metavar="WEIGHT")
    convert.add_argument("have", choices=_YEASTS)
    convert.add_argument("want", choices=_YEASTS)

    water = actions.add_parser("water", help="how warm the water must be for a dough temperature")
    mixed = actions.add_parser("mixed", help="log what a dough came out of the mixer with: friction is learned from it")
    for action in (water, mixed):
        action.add_argument("--dough", type=temperature, required=True, metavar="TEMP", help="wanted, or measured: 25C")
        action.add_argument("--flour", type=temperature, required=True, metavar="TEMP")
        action.add_argument("--room", type=temperature, required=True, metavar="TEMP")
        action.add_argument("--preferment", type=temperature, metavar="TEMP", help="only when there is one")
    water.add_argument("--friction", type=temperature_difference, metavar="TEMP", help="what mixing adds to the sum")
    water.add_argument("--mixer", metavar="NAME", help="take what was learned about this one")
    water.add_argument("--minutes", type=positive, default=USUAL_MIX_MIN, metavar="MIN", help="of mixing (%(default)g)")
    mixed.add_argument("--water", type=temperature, required=True, metavar="TEMP")
    mixed.add_argument("--mixer", required=True, metavar="NAME")
    mixed.add_argument("--minutes", type=positive, required=True, metavar="MIN", help="of mixing")

    sheet = actions.add_parser("sheet", help="write a page to print, with large weights")
    sheet.add_argument("file", type=Path, metavar="RECIPE.toml")
    sheet.add_argument("--pieces", type=pieces, metavar="NxWEIGHT", help="for so many pieces")
    sheet.add_argument("--out", type=Path, metavar="FILE.html", help="(default: beside the recipe)")

    for action in (check, scale, convert, water, mixed, sheet):
        add_place(action)
        action.set_defaults(run=run)


def add_plan(plan: argparse.ArgumentParser, add_place: AddPlace, run: Run) -> None:
    """The actions of ``plan``."""
    actions = plan.add_subparsers(dest="action", required=True, metavar="ACTION")

    make = actions.add_parser("make", help="plan recipes for an hour, or from now on")
    make.add_argument("files", type=Path, nargs="+", metavar="RECIPE.toml")
    make.add_argument("--dry-run", action="store_true", help="show it, do not keep it")
    compare = actions.add_parser("alternatives", help="the same bread otherwise: yeast, room, a night in the cold")
    compare.add_argument("file", type=Path, metavar="RECIPE.toml")
    for action in (make, compare):
        action.add_argument(
            "--out", action="append", default=[], metavar="TIME",
            help="when all of it must be out of the oven: 12:30, 'tomorrow 12:30' (default: as soon as can be)",
        )  # fmt: skip
        action.add_argument("--kitchen", type=Path, metavar="FILE", help="(default: kitchen.toml in DIR, if there)")

    show = actions.add_parser("show", help="how a plan stands, every step with its time")
    listing = actions.add_parser("list", help="every plan")
    start = actions.add_parser("start", help="begin the next stage: what it takes on ends, and it is watched")
    start.add_argument("--dough", metavar="KEY", help="of which dough (default: whose hands come first)")
    for action in (show, start):
        action.add_argument("id", type=int, nargs="?", metavar="PLAN", help="(default: the newest)")
    done = actions.add_parser("done", help="tick off a step, by its number in `plan show`")
    done.add_argument("step", type=int, metavar="STEP")
    done.add_argument("--plan", type=int, dest="id", metavar="PLAN", help="(default: the newest)")
    drop = actions.add_parser("drop", help="let go of a plan; its batches stay")
    drop.add_argument("id", type=int, metavar="PLAN")

    for action in (make, compare, show, listing, start, done, drop):
        add_place(action)
        action.set_defaults(run=run)
