"""Whom to call, when to keep quiet and what wakes all the same, from the settings files."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import time
from typing import Any

from monitor.alerts.calls import CallRules, QuietHours
from monitor.alerts.kinds import AlertKind
from monitor.settings.toml_file import number_in, unknown_keys
from monitor.translatable import Translatable

KEYS = ("quiet", "wakes", "repeat_min", "calls_each", "most_calls", "second_channel_s")
RECIPIENT_KEYS = ("name", "notify_urls")
ONLY_RECIPIENT = "baker"
"""Name of the one recipient where ``notify_urls`` alone is given."""


@dataclass(frozen=True, slots=True)
class Reachable:
    """Somebody to call. The addresses may hold passwords: the text form does not show them."""

    name: str
    urls: tuple[str, ...] = field(repr=False)


def calls_from(table: Mapping[str, Any]) -> tuple[CallRules, list[str]]:
    """The rules of a settings file's table ``[calls]``, and what is wrong with it."""
    usual = CallRules()
    faults = unknown_keys(table, KEYS, "calls.")
    limited = {  # judgement: a day, and more calls than anybody would bear
        "repeat_min": (1.0, 1440.0),
        "calls_each": (1.0, 1000.0),
        "most_calls": (1.0, 1000.0),
        "second_channel_s": (0.0, 86_400.0),
    }
    values = {
        key: number_in(table, key, float(getattr(usual, key)), each, faults, "calls.") for key, each in limited.items()
    }
    rules = CallRules(
        quiet=_quiet(table.get("quiet"), faults),
        wakes=_kinds(table.get("wakes"), usual.wakes, faults),
        repeat_min=values["repeat_min"],
        calls_each=int(values["calls_each"]),
        most_calls=int(values["most_calls"]),
        second_channel_s=values["second_channel_s"],
    )
    return rules, faults


def _quiet(value: object, faults: list[str]) -> QuietHours | None:
    if value is None:
        return None
    try:
        start, end = str(value).split("-")
        hours = QuietHours(_time(start), _time(end))
    except ValueError:
        faults.append(Translatable('calls.quiet = {value!r} must look like "21:30-04:00"', value=value))
        return None
    return hours


def _time(text: str) -> time:
    hour, minute = text.strip().split(":")
    return time(int(hour), int(minute))


def _kinds(value: object, usual: frozenset[AlertKind], faults: list[str]) -> frozenset[AlertKind]:
    if value is None:
        return usual
    names = set(AlertKind)
    if isinstance(value, list) and all(item in names for item in value):
        return frozenset(AlertKind(item) for item in value)
    faults.append(
        Translatable("calls.wakes must be a list of alerts; there are: {alertkind}", alertkind=", ".join(AlertKind))
    )
    return usual


def recipients_from(table: object) -> tuple[tuple[Reachable, ...], list[str]]:
    """The recipients of a secrets file's tables ``[[recipients]]``, in their order, and what is wrong with them.

    No fault repeats an address.
    """
    if not isinstance(table, list) or not all(isinstance(one, Mapping) for one in table):
        return (), [
            Translatable(
                "recipients must be tables: [[recipients]] with name and notify_urls, the first to be called first"
            )
        ]
    found: list[Reachable] = []
    faults: list[str] = []
    for number, one in enumerate(table, start=1):
        where = Translatable("recipients, number {n}", n=number)
        faults += [
            Translatable("{where}: {key} is not a setting", where=where, key=key)
            for key in one
            if key not in RECIPIENT_KEYS
        ]
        name, urls = one.get("name"), one.get("notify_urls")
        if not isinstance(name, str) or not name.strip() or name.strip() in {each.name for each in found}:
            faults.append(Translatable("{where}: needs a name of its own", where=where))
        elif not isinstance(urls, list) or not urls or not all(isinstance(url, str) and url.strip() for url in urls):
            faults.append(
                Translatable('{where}: notify_urls must be a list of addresses, such as ["ntfy://..."]', where=where)
            )
        else:
            found.append(Reachable(name.strip(), tuple(url.strip() for url in urls)))
    return tuple(found), faults
