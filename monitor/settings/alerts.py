"""The limits of the alert rules that a baker has set: the table ``[alerts]`` of ``config.toml``.

.. code-block:: toml

    [alerts]
    silence_min = 10          # any number of monitor.alerts.dough.Rules
"""

from collections.abc import Mapping
from dataclasses import fields, replace
from typing import Any

from monitor.alerts.dough import Rules
from monitor.settings.toml_file import number_in, unknown_keys

LONGEST_MIN = 1440.0  # judgement: a day; what waits longer never comes
LEAST_MIN = {"silence_min": 0.05}  # judgement: three seconds, as for a try; with none at all everything is silent


def rules_from(table: Mapping[str, Any]) -> tuple[Rules, list[str]]:
    """The rules of a settings file's table ``[alerts]``, and what is wrong with it."""
    known = _numbers_of(Rules())
    faults = unknown_keys(table, known, "alerts.")
    values: dict[str, Any] = {}
    for key in known.keys() & table:
        limits = (0.0, 1.0) if key.endswith("_chance") else (LEAST_MIN.get(key, 0.0), LONGEST_MIN)
        values[key] = number_in(table, key, float(known[key]), limits, faults, "alerts.")
    return replace(Rules(), **values), faults


def rules_lines(rules: Rules) -> list[str]:
    """The limits in force, one a line."""
    return [f"alerts.{key} = {value:g}" for key, value in _numbers_of(rules).items()]


def _numbers_of(rules: Rules) -> dict[str, float]:
    """The limits that can be set, by name."""
    values = {item.name: getattr(rules, item.name) for item in fields(rules)}
    return {key: value for key, value in values.items() if isinstance(value, int | float)}
