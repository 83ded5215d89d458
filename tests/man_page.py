"""The manual page, made of what ``--help`` says; ``pytest --update-golden tests/unit/test_man_page.py`` writes it anew.

In the macros of man(7), which every system reads.
"""

import inspect
import re
from collections.abc import Iterator

import click

from monitor.cli import STATUS_OK, STATUS_STOPPED, STATUS_WRONG, program
from monitor.commands.terminal import PROGRAM

EXIT_STATUS = (
    (STATUS_OK, "All went well."),
    (STATUS_WRONG, "Something has to be mended first; it is said on standard error."),
    (STATUS_STOPPED, "Ended by the keyboard. Commands that run until they are stopped end with 0."),
)


def man_page(version: str, day: str) -> str:
    """The page of a version that was released on a day (``2026-11-30``)."""
    about = inspect.cleandoc(program.help or "")
    lines = [
        f'.TH {PROGRAM.upper()} 1 "{day}" "{PROGRAM} {version}"',
        ".SH NAME",
        f"{PROGRAM} \\- {_plain(about.rstrip('.'))}",
        ".SH SYNOPSIS",
        f".B {_plain(PROGRAM)}",
        r"\fICOMMAND\fR [\fIOPTIONS\fR] [\fIARGUMENTS\fR]",
        ".SH DESCRIPTION",
        "Each command answers to",
        r".B \-\-help",
        "too.",
        *_text(program.epilog or ""),
        ".SH COMMANDS",
        *_commands(program, click.Context(program, info_name=PROGRAM)),
        '.SH "EXIT STATUS"',
    ]
    for status, meaning in EXIT_STATUS:
        lines += [".TP", f".B {status}", meaning]
    return "\n".join(lines) + "\n"


def _commands(group: click.Group, ctx: click.Context) -> Iterator[str]:
    """All commands under a group, each after what it belongs to."""
    for name in group.list_commands(ctx):
        command = group.get_command(ctx, name)
        assert command is not None
        below = click.Context(command, info_name=name, parent=ctx)
        usage = " ".join([below.command_path, *command.collect_usage_pieces(below)])
        yield f'.SS "{_plain(usage)}"'
        yield from _text(command.help or "")
        for parameter in command.params:
            if record := parameter.get_help_record(below):
                yield from (".TP", f".B {_plain(record[0])}", *_text(record[1]))
        yield from _text(command.epilog or "")
        if isinstance(command, click.Group):
            yield from _commands(command, below)


def _text(text: str) -> Iterator[str]:
    """Paragraphs; those that click is to leave as they are keep their lines."""
    for n, paragraph in enumerate(filter(None, re.split(r"\n{2,}", inspect.cleandoc(text)))):
        lines = [line.strip("\b") for line in paragraph.splitlines() if line.strip("\b")]
        is_kept = "\b" in paragraph
        if n or is_kept:
            yield ".PP"
        if is_kept:
            yield from (".nf", *map(_plain, lines), ".fi")
        else:
            yield _plain(" ".join(map(str.strip, lines)))


def _plain(text: str) -> str:
    """Text in which roff(7) finds no command of its own."""
    escaped = text.replace("\\", r"\e").replace("-", r"\-").replace('"', r"\(dq").replace("'", r"\(aq")
    return rf"\&{escaped}" if escaped.startswith(".") else escaped
