"""Reading the settings' TOML files: a file as a table, and what is wrong with its keys."""

import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from monitor.errors import ConfigError, hint_for
from monitor.files import bounded_bytes
from monitor.network import is_loopback
from monitor.translatable import N_, Number, Translatable

LARGEST_FILE_BYTES = 1_000_000  # judgement: a hundred times what anybody writes by hand


def read_table(path: Path) -> dict[str, Any]:
    """What a TOML file holds.

    Raises
    ------
    ConfigError
        When it is not there, cannot be read, is too large or is no TOML.
    """
    try:
        return tomllib.loads(bounded_bytes(path, LARGEST_FILE_BYTES).decode())
    except FileNotFoundError:
        raise ConfigError("{path}: there is no such file; check the name", path=path) from None
    except OSError as err:
        raise ConfigError(
            "{path}: cannot be read ({why}); check its owner and rights", path=path, why=err.strerror
        ) from err
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as err:
        raise ConfigError("{path}: is not valid TOML: {why}", path=path, why=err) from err


def table_in(settings: Mapping[str, Any], key: str, faults: list[str]) -> Mapping[str, Any] | None:
    """A table of the settings; None where there is none or a fault."""
    value = settings.get(key)
    if value is None or isinstance(value, Mapping):
        return value
    faults.append(Translatable("{key} must be a table: [{key}] with one setting a line", key=key))
    return None


def unknown_keys(table: Mapping[str, Any], known: Iterable[str], prefix: str = "") -> list[str]:
    """A fault for each key that is no setting, with the setting that is spelt most like it."""
    names = tuple(known)
    return [
        Translatable("{prefix}{key} is not a setting; {hint}", prefix=prefix, key=key, hint=hint_for(key, names))
        for key in table
        if key not in names
    ]


def texts(table: Mapping[str, Any], key: str, faults: list[str]) -> tuple[str, ...]:
    """The list of texts under a key, empty where there is none or a fault."""
    value = table.get(key, [])
    if isinstance(value, list) and all(isinstance(item, str) and item.strip() for item in value):
        return tuple(item.strip() for item in value)
    faults.append(Translatable('{key} must be a list of texts, such as {key} = ["..."]', key=key))
    return ()


def given_texts(table: Mapping[str, Any], keys: Iterable[str], faults: list[str], prefix: str = "") -> dict[str, str]:
    """The texts under those of some keys that are given; a fault for each that is none, or an empty one."""
    given = {key: table[key] for key in keys if key in table}
    wrong = {key for key, value in given.items() if not (isinstance(value, str) and value.strip())}
    faults += [
        Translatable("{key} = {value!r} must be a text in quotes", key=f"{prefix}{key}", value=given[key])
        for key in given
        if key in wrong
    ]
    return {key: value for key, value in given.items() if key not in wrong}


def number_in(
    table: Mapping[str, Any], key: str, usual: float, limits: tuple[float, float], faults: list[str], prefix: str = ""
) -> float:
    """The number under a key within limits, a whole one where the usual one is; that where there is none or a fault."""
    value, is_whole = table.get(key, usual), isinstance(usual, int)
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if is_number and limits[0] <= value <= limits[1] and not (is_whole and value % 1):
        return float(value)
    faults.append(
        Translatable(
            N_("{key} = {value!r} must be a whole number from {least} to {most}")
            if is_whole
            else N_("{key} = {value!r} must be a number from {least} to {most}"),
            key=f"{prefix}{key}",
            value=value,
            least=Number(limits[0], "g"),
            most=Number(limits[1], "g"),
        )
    )
    return usual


def web_fault(key: str, url: str, example: str) -> str:
    """What is wrong with a web address; empty when nothing is. It is not repeated, as a secret may stand in it."""
    try:
        parts = urlsplit(url)
        _ = parts.port
    except ValueError as err:
        return Translatable("{key} is no address ({why})", key=key, why=err)
    if parts.username is not None or parts.password is not None:
        return Translatable(
            "{key}: leave name and password out of it; what is secret belongs into secrets.toml", key=key
        )
    if parts.scheme not in ("http", "https") or not parts.hostname or parts.query or parts.fragment:
        return Translatable("{key} must look like {example}", key=key, example=example)
    if parts.scheme == "http" and not is_loopback(parts.hostname):
        return Translatable("{key}: plain http:// is for this machine alone; write https://", key=key)
    return ""


def of_file(path: Path, faults: Iterable[str]) -> list[str]:
    """Each fault behind the name of the file it is in."""
    return [Translatable("{path}: {fault}", path=path, fault=fault) for fault in faults]
