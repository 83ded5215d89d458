"""States as text for programs and spreadsheets: JSON (RFC 8259) or CSV (RFC 4180), with columns that stay."""

import csv
import io
from collections.abc import Iterable
from typing import Any, Literal, get_args

import msgspec

Form = Literal["json", "csv"]
_RUNS = ("=", "+", "-", "@", "\t", "\r")  # a spreadsheet would take such a text for a formula and run it


def text_of(states: Iterable[msgspec.Struct], kind: type[msgspec.Struct], form: Form) -> str:
    """States of one kind as a JSON array, or as a table with a line for its columns.

    In a table a quantity with its doubt has a column for each quantile, and a text that a spreadsheet would run as a
    formula begins with an apostrophe, which it takes away.

    >>> from monitor.published.states import NextTask, Do
    >>> print(text_of([NextTask(Do.LOOK, None, True)], NextTask, "csv"), end="")
    task,at,is_now\r
    look,,true\r
    """
    if form == "json":
        return msgspec.json.format(msgspec.json.encode(list(states)), indent=2).decode() + "\n"
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(_columns(kind))
    writer.writerows(_cells(msgspec.to_builtins(each), kind) for each in states)
    return out.getvalue()


def _columns(kind: type[msgspec.Struct]) -> list[str]:
    columns = []
    for field in msgspec.structs.fields(kind):
        inner = _struct_in(field.type)
        columns += [field.name] if inner is None else [f"{field.name}_{name}" for name in _columns(inner)]
    return columns


def _cells(state: dict[str, Any], kind: type[msgspec.Struct]) -> list[str]:
    cells: list[str] = []
    for field in msgspec.structs.fields(kind):
        inner, value = _struct_in(field.type), state[field.name]
        if inner is None:
            cells.append(_cell(value))
        else:
            cells += [""] * len(_columns(inner)) if value is None else _cells(value, inner)
    return cells


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f"'{value}" if value.startswith(_RUNS) else value
    return f"{value:.10g}" if isinstance(value, float) else str(value)


def _struct_in(kind: Any) -> type[msgspec.Struct] | None:
    """The struct that a field is, or is when it is not null."""
    return next(
        (each for each in (kind, *get_args(kind)) if isinstance(each, type) and issubclass(each, msgspec.Struct)), None
    )
