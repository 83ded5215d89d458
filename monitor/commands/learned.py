"""``learned``: what finished batches have taught; forget it."""

from pathlib import Path

import click

from monitor.commands.terminal import Group, data_dir, examples, reader_of, store_of
from monitor.errors import ConfigError
from monitor.translatable import Translatable


@click.group(
    "learned",
    cls=Group,
    invoke_without_command=True,
    epilog=examples("learned", 'learned reset "Oat loaf" --yes', "learned reset --all --yes"),
)
@data_dir
@click.pass_context
def command(ctx: click.Context, data_dir: Path) -> None:
    """Say what finished batches have taught; forget it."""
    if ctx.invoked_subcommand is None:
        _list(data_dir)


def _list(data_dir: Path) -> None:
    """A line for each recipe and stage that something is known about, by recipe."""
    from monitor.dough.learning import learned_from
    from monitor.wording.alerts import stage_word
    from monitor.wording.lessons import learned_sentence

    reader = reader_of(data_dir)
    with store_of(data_dir) as store:
        lessons = store.lessons.all()
        newest = {(batch.recipe_key, batch.stage): batch for batch in store.batches.all()}
    is_empty = True
    for _, batch in sorted(newest.items()):
        learned = learned_from(lessons, batch)
        if learned is not None:
            is_empty = False
            sentence = learned_sentence(learned, reader, has_formula=batch.formula is not None)
            click.echo(f"{batch.recipe_key} ({stage_word(batch.stage, reader)}): {sentence}")
    if is_empty:
        click.echo(reader.say("nothing yet: the collector learns from each batch once it has ended"))


@command.command("reset", epilog=examples('learned reset "Oat loaf" --yes', "learned reset --all --yes"))
@click.argument("recipe", required=False)
@click.option("--all", "is_all", is_flag=True, help="Forget every recipe.")
@click.option("--yes", "is_sure", is_flag=True, help="Yes, forget it.")
@data_dir
def reset(recipe: str | None, is_all: bool, is_sure: bool, data_dir: Path) -> None:
    """Forget what the batches of a recipe taught, for good.

    RECIPE is written as `learned` lists it.
    """
    with store_of(data_dir) as store:
        if (recipe is None) == (not is_all):
            raise ConfigError("learned reset: name one recipe as `learned` lists it, or give --all")
        key = None if recipe is None else recipe.strip().casefold()
        known = {lesson.recipe for lesson in store.lessons.all()}
        if key is not None and key not in known:
            there = (
                Translatable("there are: {known}", known=", ".join(sorted(known)))
                if known
                else Translatable("nothing was learned yet")
            )
            raise ConfigError("learned reset: nothing was learned about {key!r}; {there}", key=key, there=there)
        what = (
            Translatable("everything learned") if key is None else Translatable("what was learned about {key}", key=key)
        )
        if not is_sure:
            raise ConfigError(
                "learned reset: this forgets {what}, for good; add --yes to do it (the batches stay)", what=what
            )
        n = store.lessons.forget(key)
    forgotten = reader_of(data_dir).count(
        n,
        "forgotten: {what}, from {n} batch; the batches themselves stay",
        "forgotten: {what}, from {n} batches; the batches themselves stay",
        what=what,
    )
    click.echo(forgotten)
