"""Reading the settings' TOML files: a file as a table, and what is wrong with its keys."""

import difflib
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from monitor.errors import ConfigError
from monitor.files import bounded_bytes
from monitor.translatable import Translatable

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


def unknown_keys(table: Mapping[str, Any], known: Iterable[str], prefix: str = "") -> list[str]:
    """A fault for each key that is no setting, with the setting that is spelt most like it."""
    names = tuple(known)
    faults: list[str] = []
    for key in table:
        if key not in names:
            near = difflib.get_close_matches(key, names, n=1)
            hint = f"did you mean {near[0]!r}?" if near else f"known here: {', '.join(names)}"
            faults.append(Translatable("{prefix}{key} is not a setting; {hint}", prefix=prefix, key=key, hint=hint))
    return faults


def texts(table: Mapping[str, Any], key: str, faults: list[str]) -> tuple[str, ...]:
    """The list of texts under a key, empty where there is none or a fault."""
    value = table.get(key, [])
    if isinstance(value, list) and all(isinstance(item, str) and item.strip() for item in value):
        return tuple(item.strip() for item in value)
    faults.append(Translatable('{key} must be a list of texts, such as {key} = ["..."]', key=key))
    return ()


def of_file(path: Path, faults: Iterable[str]) -> list[str]:
    """Each fault behind the name of the file it is in."""
    return [Translatable("{path}: {fault}", path=path, fault=fault) for fault in faults]
