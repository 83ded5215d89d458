"""Settings and secrets that a command adds to files a baker also writes by hand: added as text, never rewritten."""

import json
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, TypeVar

from monitor.errors import ConfigError
from monitor.files import bounded_bytes, write_private
from monitor.settings.data_dir import CONFIG_NAME, SECRETS_NAME
from monitor.settings.toml_file import LARGEST_FILE_BYTES

_PASSWORDS = "mqtt_passwords"

Options = TypeVar("Options")


def kept_options(path: Path, kind: type[Options], what: str) -> Options | None:
    """What was chosen before for the ``what`` (broker or proxy); None when none was ever configured here.

    Raises
    ------
    ConfigError
        When the file cannot be understood.
    """
    try:
        table = tomllib.loads(bounded_bytes(path, LARGEST_FILE_BYTES).decode())
        return kind(**{**table, "hosts": tuple(table.get("hosts", ()))})
    except FileNotFoundError:
        return None
    except (OSError, ValueError, TypeError) as err:
        raise ConfigError(
            "{path}: cannot be used ({why}); take it away and configure the {what} anew", path=path, why=err, what=what
        ) from err


def add_secrets(data_dir: Path, passwords: Mapping[str, str], proxy_secret: str | None = None) -> Path:
    """Put brokers' passwords (``user@host:port``) and the proxy's secret into ``secrets.toml``; returns the file.

    Raises
    ------
    ConfigError
        When the file cannot be read, or lines cannot be added without changing what else it says.
    """
    path = data_dir / SECRETS_NAME
    old = _text(path)
    table = _parsed(old, path)
    text = old
    new = {key: value for key, value in passwords.items() if table.get(_PASSWORDS, {}).get(key) != value}
    if new:
        lines = "".join(f"{json.dumps(key)} = {json.dumps(value)}\n" for key, value in new.items())
        header = re.search(rf"^\[{_PASSWORDS}\][^\n]*\n?", text, re.MULTILINE)
        if header is None:
            text = f"{text.rstrip()}\n\n[{_PASSWORDS}]\n{lines}".lstrip()
        else:
            text = f"{text[: header.end()].rstrip()}\n{lines}{text[header.end() :]}"
    if proxy_secret is not None and table.get("proxy_secret") != proxy_secret:
        text = f"proxy_secret = {json.dumps(proxy_secret)}\n{text}"
    wanted = {**table}
    if passwords:
        wanted[_PASSWORDS] = {**table.get(_PASSWORDS, {}), **passwords}
    if proxy_secret is not None:
        wanted["proxy_secret"] = proxy_secret
    try:
        is_right = tomllib.loads(text) == wanted
    except tomllib.TOMLDecodeError:
        is_right = False
    if not is_right:
        keys = ", ".join([*new, *(["proxy_secret"] if proxy_secret else [])])
        raise ConfigError(
            "{path}: lines cannot be added to it safely; take {keys} out of it, then try again", path=path, keys=keys
        )
    if text != old:
        write_private(path, text)
    return path


def settings_to_add(data_dir: Path, lines: Mapping[str, str]) -> list[str]:
    """Which of some ``key = value`` settings the settings file still lacks; a file that is not there is written.

    Parameters
    ----------
    lines
        Key -> value as TOML text. A dotted key belongs into a table.
    """
    path = data_dir / CONFIG_NAME
    text = _text(path)
    table = _parsed(text, path)
    wanted = tomllib.loads("\n".join(f"{key} = {value}" for key, value in lines.items()))
    if not text:
        write_private(path, "".join(f"{key} = {value}\n" for key, value in lines.items()))
        return []
    missing = []
    for key, value in lines.items():
        outer, _, inner = key.partition(".")
        is_there = table.get(outer, {}).get(inner) == wanted[outer][inner] if inner else table.get(key) == wanted[key]
        if not is_there:
            missing.append(f"{key} = {value}")
    return missing


def _text(path: Path) -> str:
    try:
        return bounded_bytes(path, LARGEST_FILE_BYTES).decode()
    except FileNotFoundError:
        return ""
    except (OSError, UnicodeDecodeError) as err:
        raise ConfigError("{path}: cannot be read ({why}); check its owner and rights", path=path, why=err) from err


def _parsed(text: str, path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as err:
        raise ConfigError("{path}: is not valid TOML: {why}", path=path, why=err) from err
