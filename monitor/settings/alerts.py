"""The limits of the alert rules that a baker has set: the table ``[alerts]`` of ``config.toml``.

.. code-block:: toml

    [alerts]
    silence_min = 10          # any number of monitor.alerts.dough.Rules
"""

from collections.abc import Mapping
from dataclasses import fields, replace
from typing import Any

from monitor.alerts.dough import Rules
from monitor.settings.toml_file import unknown_keys
from monitor.translatable import Translatable


def rules_from(table: object) -> tuple[Rules, list[str]]:
    """The rules of a settings file's table ``[alerts]``, and what is wrong with it."""
    if not isinstance(table, Mapping):
        return Rules(), [Translatable("alerts must be a table: [alerts] with one limit a line")]
    known = _numbers_of(Rules())
    faults = unknown_keys(table, known, "alerts.")
    values: dict[str, Any] = {}
    for key in known:
        if key in table:
            value = table[key]
            if isinstance(value, int | float) and not isinstance(value, bool):
                values[key] = float(value)
            else:
                faults.append(Translatable("alerts.{key} = {value!r} must be a number", key=key, value=value))
    try:
        return replace(Rules(), **values), faults
    except ValueError as err:
        return Rules(), [*faults, Translatable("alerts: {why}", why=err)]


def rules_lines(rules: Rules) -> list[str]:
    """The limits in force, one a line."""
    return [f"alerts.{key} = {value:g}" for key, value in _numbers_of(rules).items()]


def _numbers_of(rules: Rules) -> dict[str, float]:
    """The limits that can be set, by name."""
    values = {item.name: getattr(rules, item.name) for item in fields(rules)}
    return {key: value for key, value in values.items() if isinstance(value, int | float)}
