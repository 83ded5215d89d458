"""The tree of commands, for tests that look at all of them, and whether a line is understood without being run."""

from collections.abc import Iterator, Sequence

import click

from monitor.cli import program


def commands() -> Iterator[tuple[list[str], click.Command]]:
    """Every command below the program with the words that call it, groups before what is in them."""
    yield from _below(program, [])


def _below(group: click.Group, words: list[str]) -> Iterator[tuple[list[str], click.Command]]:
    context = click.Context(group)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        yield [*words, name], command
        if isinstance(command, click.Group):
            yield from _below(command, [*words, name])


def understood(words: Sequence[str]) -> list[str]:
    """The command that a line of words calls, with everything after it read; a ``click.UsageError`` if it cannot be."""
    command: click.Command = program
    context, called, rest = click.Context(program), list[str](), list(words)
    while isinstance(command, click.Group) and rest and not rest[0].startswith("-"):
        _, found, rest = command.resolve_command(context, rest)
        assert found is not None
        called.append(found.name or "")
        context, command = click.Context(found, context, found.name), found
    if rest != ["--help"]:
        command.parse_args(context, rest)
    return called
