"""What a baker does with plans from the command line: make, show, compare, start, tick off, drop."""

import argparse
from datetime import date, datetime, time, timedelta, tzinfo
from pathlib import Path
from typing import TextIO

from rich.console import Console
from rich.table import Table

from monitor.collector.plan_runner import (
    Foreteller,
    LivePlan,
    begin_key,
    food_words,
    is_over,
    live_plan,
    next_stages,
    order_of,
    start_next,
    tick_off,
)
from monitor.errors import ConfigError, StoreError, saying_of
from monitor.plan.alternatives import alternatives
from monitor.plan.cues import is_done
from monitor.plan.day import Plan, PlanId, steps
from monitor.plan.food import food_sentence
from monitor.plan.kitchen import Kitchen
from monitor.plan.live import hotter_c
from monitor.plan.orders import Order
from monitor.plan.planner import NoPlan, keys_of, make_plan
from monitor.recipe.findings import what_does_not_add_up
from monitor.recipe.parts import Recipe
from monitor.settings.config import load_config
from monitor.settings.data_dir import DATABASE_NAME
from monitor.settings.recipes import read_kitchen, read_recipe
from monitor.store.pace import clock_of
from monitor.store.plans import DayBook
from monitor.translatable import N_
from monitor.wording.phrases import place_word, printable, temp_text
from monitor.wording.plan import alternative_row, no_plan_lines, variation_text
from monitor.wording.plan_steps import out_sentence, step_lines, step_text, window_sentence
from monitor.wording.reader import Reader
from monitor.wording.times import clock_text

STATUS_NO_PLAN = 2
OUT_LATER = N_("{dough}: out {at}, {min} min later than planned")
OUT_EARLIER = N_("{dough}: out {at}, {min} min earlier than planned")
HEADINGS = (N_("otherwise"), N_("begin"), N_("out"), N_("by itself"), N_("its loaves, or why not"))
PLAIN_WIDTH = 160


def wanted_moment(text: str, now: datetime, zone: tzinfo) -> datetime:
    """A moment as a baker says it: ``12:30`` (the next one), ``tomorrow 12:30``, ``2026-03-04 12:30``.

    Raises
    ------
    ConfigError
        When it is none of these, or over.
    """
    day_text, _, clock = text.strip().rpartition(" ")
    local = now.astimezone(zone)
    try:
        at = time.fromisoformat(clock)
        if day_text in ("", "today", "tomorrow"):
            day = local.date() + timedelta(days=day_text == "tomorrow")
        else:
            day = date.fromisoformat(day_text)
    except ValueError as err:
        raise ConfigError("--out {text!r}: say 12:30, tomorrow 12:30, or 2026-03-04 12:30", text=text) from err
    found = datetime.combine(day, at, zone)
    if not day_text and found <= local:
        found = datetime.combine(day + timedelta(days=1), at, zone)
    if found <= local:
        raise ConfigError("--out {text!r}: that is over", text=text)
    return found.astimezone(now.tzinfo)


def _orders(args: argparse.Namespace, book: DayBook, now: datetime, reader: Reader, out: TextIO) -> tuple[Order, ...]:
    if len(args.out) > 1 and len(args.out) != len(args.files):
        raise ConfigError("--out once for all, or once for each of the {n} recipes, in their order", n=len(args.files))
    moments: list[datetime | None] = [wanted_moment(text, now, reader.zone) for text in args.out]
    recipes = [read_recipe(path) for path in args.files]
    for recipe in recipes:
        for sentence in what_does_not_add_up(recipe):
            print(
                reader.say(
                    "{recipe} does not add up: {what}",
                    recipe=printable(recipe.name),
                    what=printable(reader.text(sentence)),
                ),
                file=out,
            )
    wanted = moments if len(moments) > 1 else (moments or [None]) * len(recipes)
    return tuple(order_of(book, recipe, at) for recipe, at in zip(recipes, wanted, strict=True))


def _recipes(orders: tuple[Order, ...]) -> dict[str, Recipe]:
    return {key: order.recipe for key, order in zip(keys_of(orders), orders, strict=True)}


def _planned(orders: tuple[Order, ...], kitchen: Kitchen, now: datetime, zone: tzinfo) -> Plan | NoPlan:
    try:
        return make_plan(orders, kitchen, now, zone)
    except ValueError as err:
        raise ConfigError(saying_of(err)) from err


def _make(args: argparse.Namespace, book: DayBook, reader: Reader, kitchen: Kitchen, out: TextIO) -> int:
    now = clock_of(book).now()
    orders = _orders(args, book, now, reader, out)
    found = _planned(orders, kitchen, now, reader.zone)
    if isinstance(found, NoPlan):
        print(reader.say("No plan:"), file=out)
        for line in no_plan_lines(found, _recipes(orders), reader, now):
            print(f"  {line}", file=out)
        return STATUS_NO_PLAN
    plan = found if args.dry_run else book.add_plan(found)
    for line in step_lines(plan, reader, now):
        print(line, file=out)
    for dough in plan.doughs:
        for sentence in (
            out_sentence(dough, reader, now),
            window_sentence(dough, reader),
            food_sentence(dough, reader),
        ):
            if sentence:
                print(sentence, file=out)
    if not args.dry_run:
        kept = N_("plan {id} is kept: `plan start` begins its first stage, `plan show` says how it stands")
        print(reader.say(kept, id=plan.id), file=out)
    return 0


def _alternatives(args: argparse.Namespace, book: DayBook, reader: Reader, kitchen: Kitchen, out: TextIO) -> int:
    now = clock_of(book).now()
    args.files = [args.file]
    (order,) = _orders(args, book, now, reader, out)
    table = Table(title=printable(order.recipe.name), title_justify="left")
    for heading in HEADINGS:
        table.add_column(reader.say(heading), overflow="fold")
    try:
        found = alternatives(order, kitchen, now, reader.zone)
    except ValueError as err:
        raise ConfigError(saying_of(err)) from err
    for each in found:
        table.add_row(variation_text(each, reader), *alternative_row(each, _recipes((order,)), reader, now))
    Console(file=out, width=None if out.isatty() else PLAIN_WIDTH, markup=False, highlight=False).print(table)
    return 0


# -- plans that are kept ----------------------------------------------------------------------------------------------


def _live(book: DayBook, plan_id: int | None) -> tuple[LivePlan, datetime]:
    """The plan of a number, or the newest; as its doughs have it."""
    now = clock_of(book).now()
    if plan_id is None:
        plans = book.plans()
        if not plans:
            raise StoreError(
                "{path}: holds no plan; make one with `proofing-monitor plan make RECIPE.toml`", path=book.path
            )
        plan = plans[0]
    else:
        plan = book.plan(PlanId(plan_id))
    return live_plan(book, plan, now, Foreteller(book)), now


def _show(args: argparse.Namespace, book: DayBook, reader: Reader, out: TextIO) -> int:
    live, now = _live(book, args.id)
    for number, step in enumerate(steps(live.now), start=1):
        dough = live.now.dough(step.dough)
        mark = "x" if is_done(dough, step, live.progress) else " "
        who = f"{printable(dough.recipe.name)}: " if len(live.now.doughs) > 1 else ""
        print(
            f"{number:>3} [{mark}] {clock_text(step.at, reader, now):>15}  {who}{step_text(dough, step, reader)}",
            file=out,
        )
    for dough in live.now.doughs:
        made_at = live.made.dough(dough.key).out_at
        moved_min = round((dough.out_at - made_at).total_seconds() / 60.0)
        if moved_min:
            told = reader.say(
                OUT_LATER if moved_min > 0 else OUT_EARLIER,
                dough=printable(dough.recipe.name),
                at=clock_text(dough.out_at, reader, now),
                min=abs(moved_min),
            )
            print(told, file=out)
        food = food_words(book, live, dough, reader)
        if food:
            print(food, file=out)
    other = hotter_c(live.made, live.progress)
    if other is not None:
        name, planned_c, air_c = other
        told = reader.say(
            "{place} is {air}; the plan was made for {planned}",
            place=place_word(name, reader),
            air=temp_text(air_c, reader),
            planned=temp_text(planned_c, reader),
        )
        print(told, file=out)
    return 0


def _list(book: DayBook, reader: Reader, out: TextIO) -> int:
    now = clock_of(book).now()
    plans = book.plans()
    if not plans:
        print(reader.say("no plan yet: `proofing-monitor plan make RECIPE.toml --out 12:30` makes one"), file=out)
    ask = Foreteller(book)
    for plan in plans:
        live = live_plan(book, plan, now, ask)
        state = reader.say("over") if is_over(live, now) else reader.say("to come")
        doughs = "; ".join(
            reader.say("{dough} out {at}", dough=printable(dough.recipe.name), at=clock_text(dough.out_at, reader, now))
            for dough in live.now.doughs
        )
        print(f"{plan.id:>4}  {state:<8} {doughs}", file=out)
    return 0


def _start(args: argparse.Namespace, book: DayBook, reader: Reader, out: TextIO) -> int:
    live, now = _live(book, args.id)
    print(start_next(book, live, now, reader, args.dough), file=out)
    return 0


def _done(args: argparse.Namespace, book: DayBook, reader: Reader, out: TextIO) -> int:
    live, now = _live(book, args.id)
    every = steps(live.now)
    if not 1 <= args.step <= len(every):
        raise ConfigError("plan {id} has steps 1 to {n}; `plan show` numbers them", id=live.made.id, n=len(every))
    step = every[args.step - 1]
    dough = live.now.dough(step.dough)
    if step.stage is not None and step.key == begin_key(dough, dough.stages[step.stage]):
        if (dough, dough.stages[step.stage]) not in next_stages(live):
            raise ConfigError(
                "{dough}: has begun, or what comes before it has not", dough=step_text(dough, step, reader)
            )
        print(start_next(book, live, now, reader, dough.key), file=out)
        return 0
    tick_off(book, live, step, now)
    print(reader.say("done: {step}", step=step_text(dough, step, reader)), file=out)
    return 0


def _drop(args: argparse.Namespace, book: DayBook, reader: Reader, out: TextIO) -> int:
    plan = book.plan(PlanId(args.id))
    book.drop_plan(plan.id)
    print(reader.say("plan {id} is dropped and calls no more; its batches stay", id=plan.id), file=out)
    return 0


def run(args: argparse.Namespace, data_dir: Path, out: TextIO) -> int:
    """Run one ``plan`` action; the exit status comes back: 2 when there is no plan."""
    reader = load_config(data_dir, {}).reader
    with DayBook(data_dir / DATABASE_NAME) as book:
        if args.action in ("make", "alternatives"):
            kitchen = read_kitchen(args.kitchen, data_dir)
            made = _make if args.action == "make" else _alternatives
            return made(args, book, reader, kitchen, out)
        if args.action == "show":
            return _show(args, book, reader, out)
        if args.action == "list":
            return _list(book, reader, out)
        if args.action == "start":
            return _start(args, book, reader, out)
        if args.action == "done":
            return _done(args, book, reader, out)
        return _drop(args, book, reader, out)
