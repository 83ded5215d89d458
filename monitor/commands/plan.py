"""``plan``: plan a bake backwards from its hour; compare, keep, follow, start, tick off, drop plans."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING

import click

from monitor.commands.parameters import FILE, NUMBER
from monitor.commands.terminal import (
    Group,
    config_of,
    data_dir,
    examples,
    for_programs,
    say_when_unwatched,
    show_states,
)
from monitor.errors import ConfigError, StoreError, message_of_error
from monitor.settings.data_dir import DATABASE_NAME
from monitor.translatable import N_

if TYPE_CHECKING:
    from monitor.collector.plan_runner import LivePlan
    from monitor.plan.day import DoughPlan, Plan
    from monitor.plan.kitchen import Kitchen
    from monitor.plan.obstacles import NoPlan
    from monitor.plan.orders import Order
    from monitor.published.tables import Form
    from monitor.recipe.parts import Recipe
    from monitor.store.store import Store
    from monitor.wording.reader import Reader

STATUS_NO_PLAN = 2
OUT_LATER = N_("{dough}: out {at}, {min} min later than planned")
OUT_EARLIER = N_("{dough}: out {at}, {min} min earlier than planned")
HEADINGS = (N_("otherwise"), N_("begin"), N_("out"), N_("by itself"), N_("its loaves, or why not"))
PLAIN_WIDTH = 160
FARTHEST_PLAN = timedelta(days=366)  # judgement: who says a later day has mistyped it

OUT = click.option(
    "--out",
    "outs",
    multiple=True,
    metavar="TIME",
    help="When all of it must be out of the oven: 12:30, 'tomorrow 12:30' (default: as soon as can be). "
    "May be given once for each recipe.",
)
KITCHEN = click.option(
    "--kitchen",
    "kitchen_file",
    type=FILE,
    metavar="FILE",
    help="Your kitchen (default: kitchen.toml in DIR, if there).",
)
PLAN = click.argument("plan_id", type=NUMBER, required=False, metavar="[PLAN]")


@click.group(
    "plan",
    cls=Group,
    epilog=examples("plan make oat-loaf.toml --out 'tomorrow 12:30'", "plan show", "plan start", "plan done 4"),
)
def command() -> None:
    """Plan a bake backwards from its hour; start and follow it."""


def wanted_moment(text: str, now: datetime, zone: tzinfo) -> datetime:
    """A moment as a baker says it: ``12:30`` (the next one), ``tomorrow 12:30``, ``2026-03-04 12:30``.

    Raises
    ------
    ConfigError
        When it is none of these, or over.
    """
    from monitor.wording.times import moments_shown, next_time

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
    if day - local.date() > FARTHEST_PLAN:
        raise ConfigError(
            "--out {text!r}: a plan reaches {days} days at the most; check the date", text=text, days=FARTHEST_PLAN.days
        )
    if not day_text:
        return next_time(at, now, zone)
    found = next((each for each in moments_shown(at, day, zone) if each > now), None)
    if found is None:
        raise ConfigError("--out {text!r}: that is over", text=text)
    return found.astimezone(now.tzinfo)


def _orders(
    files: Sequence[Path], outs: Sequence[str], store: Store, now: datetime, reader: Reader
) -> tuple[Order, ...]:
    from monitor.collector.plan_runner import order_of
    from monitor.recipe.findings import recipe_findings
    from monitor.settings.recipes import read_recipe
    from monitor.wording.phrases import printable
    from monitor.wording.recipe_sheet import finding_sentence

    if len(outs) > 1 and len(outs) != len(files):
        raise ConfigError("--out once for all, or once for each of the {n} recipes, in their order", n=len(files))
    moments: list[datetime | None] = [wanted_moment(text, now, reader.zone) for text in outs]
    recipes = [read_recipe(path) for path in files]
    for recipe in recipes:
        for finding in recipe_findings(recipe):
            what = finding_sentence(finding, recipe, reader)
            click.echo(reader.say("{recipe} does not add up: {what}", recipe=printable(recipe.name), what=what))
    wanted = moments if len(moments) > 1 else (moments or [None]) * len(recipes)
    return tuple(order_of(store, recipe, at) for recipe, at in zip(recipes, wanted, strict=True))


def _recipes(orders: tuple[Order, ...]) -> dict[str, Recipe]:
    from monitor.plan.planner import keys_of

    return {key: order.recipe for key, order in zip(keys_of(orders), orders, strict=True)}


def _planned(orders: tuple[Order, ...], kitchen: Kitchen, now: datetime, zone: tzinfo) -> Plan | NoPlan:
    from monitor.plan.planner import make_plan

    try:
        return make_plan(orders, kitchen, now, zone)
    except ValueError as err:
        raise ConfigError(message_of_error(err)) from err


def _of(plan: Plan, dough: DoughPlan, sentence: str) -> str:
    """A sentence with its dough before it, where there are several."""
    from monitor.wording.phrases import printable

    if len(plan.doughs) == 1 or not sentence:
        return sentence
    return f"{printable(dough.recipe.name)}: {sentence}"


@command.command(
    "make",
    epilog=examples(
        "plan make oat-loaf.toml --out 12:30",
        "plan make oat-loaf.toml rye.toml --out 'tomorrow 7:30' --out 'tomorrow 9:00'",
        "plan make oat-loaf.toml --dry-run",
    ),
)
@click.argument("files", type=FILE, nargs=-1, required=True, metavar="RECIPE.toml...")
@click.option("--dry-run", is_flag=True, help="Show it, do not keep it.")
@OUT
@KITCHEN
@data_dir
def make(
    files: tuple[Path, ...], dry_run: bool, outs: tuple[str, ...], kitchen_file: Path | None, data_dir: Path
) -> int:
    """Plan recipes for an hour, or from now on.

    Bread that would be out far too early and work at night are said first; on a terminal it then asks whether to keep
    the plan. The exit status is 2 when there is no plan.
    """
    import sys

    from monitor.plan.obstacles import NoPlan
    from monitor.plan.second_look import remarks
    from monitor.settings.recipes import read_kitchen
    from monitor.store.pace import clock_of
    from monitor.store.store import Store
    from monitor.wording.cues import food_sentence
    from monitor.wording.no_plan import no_plan_lines
    from monitor.wording.plan import (
        clock_sentences,
        out_sentence,
        recovery_sentences,
        remark_sentence,
        step_lines,
        window_sentence,
    )

    reader = config_of(data_dir).reader
    with Store(data_dir / DATABASE_NAME) as store:
        kitchen, now = read_kitchen(kitchen_file, data_dir), clock_of(store).now()
        orders = _orders(files, outs, store, now, reader)
        found = _planned(orders, kitchen, now, reader.zone)
        if isinstance(found, NoPlan):
            click.echo(reader.say("No plan:"))
            for line in no_plan_lines(found, _recipes(orders), reader, now):
                click.echo(f"  {line}")
            return STATUS_NO_PLAN
        said = remarks(found, orders, reader.zone)
    for remark in said:
        click.echo(remark_sentence(remark, found, reader, now))
    for line in step_lines(found, reader, now):
        click.echo(line)
    for needed in recovery_sentences(found, reader):
        click.echo(needed)
    for dough in found.doughs:
        for sentence in (
            out_sentence(dough, reader, now),
            *clock_sentences(dough, reader),
            _of(found, dough, window_sentence(dough, reader, now)),
            food_sentence(dough, reader),
        ):
            if sentence:
                click.echo(sentence)
    if dry_run or (said and sys.stdin.isatty() and not click.confirm(reader.say("Keep this plan?"), default=True)):
        return 0
    with Store(data_dir / DATABASE_NAME) as store:
        plan = store.plans.add(found)
        kept = N_("plan {id} is kept: `plan start` begins its first stage, `plan show` says how it stands")
        click.echo(reader.say(kept, id=plan.id))
        say_when_unwatched(store, reader)
    return 0


@command.command(
    "alternatives", epilog=examples("plan alternatives oat-loaf.toml", "plan alternatives oat-loaf.toml --out 12:30")
)
@click.argument("file", type=FILE, metavar="RECIPE.toml")
@OUT
@KITCHEN
@data_dir
def compare(file: Path, outs: tuple[str, ...], kitchen_file: Path | None, data_dir: Path) -> None:
    """Plan the same bread otherwise.

    With other yeast, in another room, or with a night in the cold: a table of what comes of each.
    """
    import sys

    from rich.console import Console
    from rich.table import Table

    from monitor.plan.planner import alternatives
    from monitor.settings.recipes import read_kitchen
    from monitor.store.pace import clock_of
    from monitor.store.store import Store
    from monitor.wording.phrases import printable
    from monitor.wording.plan import alternative_row, variation_text

    reader = config_of(data_dir).reader
    with Store(data_dir / DATABASE_NAME) as store:
        kitchen, now = read_kitchen(kitchen_file, data_dir), clock_of(store).now()
        (order,) = _orders([file], outs, store, now, reader)
    table = Table(title=printable(order.recipe.name), title_justify="left")
    for heading in HEADINGS:
        table.add_column(reader.say(heading), overflow="fold")
    try:
        found = alternatives(order, kitchen, now, reader.zone)
    except ValueError as err:
        raise ConfigError(message_of_error(err)) from err
    for each in found:
        table.add_row(variation_text(each, reader), *alternative_row(each, _recipes((order,)), reader, now))
    width = None if sys.stdout.isatty() else PLAIN_WIDTH
    Console(width=width, markup=False, highlight=False).print(table)


# -- plans that are kept ----------------------------------------------------------------------------------------------


def _live(store: Store, plan_id: int | None) -> tuple[LivePlan, datetime]:
    """The plan of a number, or the newest; as its doughs have it."""
    from monitor.collector.plan_runner import StageForecasts, live_plan
    from monitor.plan.day import PlanId
    from monitor.store.pace import clock_of

    now = clock_of(store).now()
    if plan_id is None:
        plans = store.plans.all()
        if not plans:
            raise StoreError(
                "{path}: holds no plan; make one with `proofing-monitor plan make RECIPE.toml`", path=store.path
            )
        plan = plans[0]
    else:
        plan = store.plans.get(PlanId(plan_id))
    return live_plan(store, plan, now, StageForecasts(store)), now


@command.command("show", epilog=examples("plan show", "plan show 2", "plan show --csv"))
@PLAN
@for_programs
@data_dir
def show(plan_id: int | None, form: Form | None, data_dir: Path) -> None:
    """Show how a plan stands, every step with its time.

    It is the newest plan unless you give its number.
    """
    from monitor.collector.plan_runner import food_words
    from monitor.plan.cues import is_done
    from monitor.plan.live import largest_air_difference
    from monitor.plan.remarks import early_breads, nobody_there
    from monitor.plan.steps import FoldDue, numbered, steps, with_folds
    from monitor.published.states import StepState, step_states
    from monitor.store.store import Store
    from monitor.wording.cues import planned_air_sentence
    from monitor.wording.phrases import printable
    from monitor.wording.plan import fold_text, remark_sentence, step_text
    from monitor.wording.times import clock_text

    reader = config_of(data_dir).reader
    with Store(data_dir / DATABASE_NAME) as store:
        live, now = _live(store, plan_id)
        if form is not None:
            show_states(step_states(live.now, live.progress), StepState, form)
            return
        for early in early_breads(live.now):
            click.echo(remark_sentence(early, live.now, reader, now))
        numbers = {step.key: number for number, step in numbered(live.made, live.now).items()}
        todo = [step for step in steps(live.now) if not is_done(live.now.dough(step.dough), step, live.progress)]
        for alone in nobody_there(todo, live.now.kitchen, reader.zone):
            click.echo(remark_sentence(alone, live.now, reader, now))
        for step in with_folds(live.now):
            dough = live.now.dough(step.dough)
            who = f"{printable(dough.recipe.name)}: " if len(live.now.doughs) > 1 else ""
            at = clock_text(step.at, reader, now)
            if isinstance(step, FoldDue):
                click.echo(f"        {at:>15}  {who}{fold_text(step, reader)}")
                continue
            mark = " " if step in todo else "x"
            click.echo(f"{numbers[step.key]:>3} [{mark}] {at:>15}  {who}{step_text(dough, step, reader)}")
        for dough in live.now.doughs:
            made_at = live.made.dough(dough.key).out_at
            moved_min = round((dough.out_at - made_at).total_seconds() / 60.0)
            if moved_min:
                sentence = reader.say(
                    OUT_LATER if moved_min > 0 else OUT_EARLIER,
                    dough=printable(dough.recipe.name),
                    at=clock_text(dough.out_at, reader, now),
                    min=abs(moved_min),
                )
                click.echo(sentence)
            food = food_words(store, live, dough, reader)
            if food:
                click.echo(food)
        say_when_unwatched(store, reader)
    air = largest_air_difference(live.made, live.progress)
    if air is not None:
        click.echo(planned_air_sentence(air, reader))


@command.command("calendar", epilog=examples("plan calendar bakes.ics"))
@click.argument("file", type=FILE)
@data_dir
def calendar(file: Path, data_dir: Path) -> None:
    """Write what is still to come into a file for calendars.

    The steps of every plan that is kept, and when other doughs are expected to be ready. Written once more, steps that
    have moved take the place of those before.
    """
    from monitor.collector.plan_runner import StageForecasts, entries_to_come
    from monitor.published.calendar import calendar_bytes
    from monitor.published.moments import said_of, say
    from monitor.store.pace import clock_of
    from monitor.store.store import Store

    config = config_of(data_dir)
    with Store(data_dir / DATABASE_NAME) as store:
        now, lead_min = clock_of(store).now(), config.rules.ready_soon_min
        entries = entries_to_come(store, now, config.reader, StageForecasts(store), lead_min)
        say(store, entries, now)
        text = calendar_bytes(entries, said_of(store), now)
    try:
        file.write_bytes(text)
    except OSError as err:
        raise ConfigError("{path}: cannot be written ({why}); name another", path=file, why=err.strerror) from err
    wrote = config.reader.count(len(entries), "{n} entry is in {file}", "{n} entries are in {file}", file=file)
    click.echo(wrote)


@command.command("list", epilog=examples("plan list"))
@data_dir
def list_(data_dir: Path) -> None:
    """List every plan."""
    from monitor.collector.plan_runner import StageForecasts, is_over, live_plan
    from monitor.store.pace import clock_of
    from monitor.store.store import Store
    from monitor.wording.phrases import printable
    from monitor.wording.times import clock_text

    reader = config_of(data_dir).reader
    with Store(data_dir / DATABASE_NAME) as store:
        now, plans = clock_of(store).now(), store.plans.all()
        if not plans:
            click.echo(reader.say("no plan yet: `proofing-monitor plan make RECIPE.toml --out 12:30` makes one"))
        forecasts = StageForecasts(store)
        for plan in plans:
            live = live_plan(store, plan, now, forecasts)
            state = reader.say("over") if is_over(live, now) else reader.say("to come")
            doughs = "; ".join(
                reader.say(
                    "{dough} out {at}", dough=printable(dough.recipe.name), at=clock_text(dough.out_at, reader, now)
                )
                for dough in live.now.doughs
            )
            click.echo(f"{plan.id:>4}  {state:<8} {doughs}")
        if plans:
            say_when_unwatched(store, reader)


@command.command("start", epilog=examples("plan start", "plan start 2 --dough oat-loaf"))
@PLAN
@click.option("--dough", metavar="KEY", help="Which dough (default: the one that needs you first).")
@data_dir
def start(plan_id: int | None, dough: str | None, data_dir: Path) -> None:
    """Begin the next stage of a plan.

    The stage before it ends, and the new one is watched. It is the newest plan unless you give its number.
    """
    from monitor.collector.plan_runner import start_next
    from monitor.store.store import Store

    reader = config_of(data_dir).reader
    with Store(data_dir / DATABASE_NAME) as store:
        live, now = _live(store, plan_id)
        click.echo(start_next(store, live, now, reader, dough))
        say_when_unwatched(store, reader)


@command.command("done", epilog=examples("plan done 4", "plan done 4 --plan 2"))
@click.argument("step_number", type=NUMBER, metavar="STEP")
@click.option("--plan", "plan_id", type=NUMBER, metavar="PLAN", help="Which plan (default: the newest).")
@data_dir
def done(step_number: int, plan_id: int | None, data_dir: Path) -> None:
    """Tick off a step, by its number in `plan show`."""
    from monitor.collector.plan_runner import next_stages, start_next, tick_off
    from monitor.plan.day import first_step_key
    from monitor.plan.steps import numbered
    from monitor.store.store import Store
    from monitor.wording.plan import step_text

    reader = config_of(data_dir).reader
    with Store(data_dir / DATABASE_NAME) as store:
        live, now = _live(store, plan_id)
        every = numbered(live.made, live.now)
        if step_number not in every:
            raise ConfigError("plan {id} has steps 1 to {n}; `plan show` numbers them", id=live.made.id, n=max(every))
        step = every[step_number]
        dough = live.now.dough(step.dough)
        if step.stage is not None and step.key == first_step_key(dough, dough.stages[step.stage]):
            if (dough, dough.stages[step.stage]) not in next_stages(live):
                raise ConfigError(
                    "{dough}: has begun, or what comes before it has not", dough=step_text(dough, step, reader)
                )
            click.echo(start_next(store, live, now, reader, dough.key))
        else:
            tick_off(store, live, step, now)
            click.echo(reader.say("done: {step}", step=step_text(dough, step, reader)))
        say_when_unwatched(store, reader)


@command.command("drop", epilog=examples("plan drop 2"))
@click.argument("plan_id", type=NUMBER, metavar="PLAN")
@data_dir
def drop(plan_id: int, data_dir: Path) -> None:
    """Let go of a plan; its batches stay."""
    from monitor.plan.day import PlanId
    from monitor.store.store import Store

    reader = config_of(data_dir).reader
    with Store(data_dir / DATABASE_NAME) as store:
        plan = store.plans.get(PlanId(plan_id))
        store.plans.drop(plan.id)
    click.echo(reader.say("plan {id} is dropped and calls no more; its batches stay", id=plan.id))
