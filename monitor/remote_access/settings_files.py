"""Settings and secrets that a command adds to files a baker also writes by hand: what else they say stays as it is."""

import tomllib
from collections.abc import Mapping, MutableMapping, MutableSequence
from pathlib import Path
from typing import Any, TypeVar

import tomlkit
import tomlkit.exceptions

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
        When the file cannot be read, or says another password or secret already.
    """
    path = data_dir / SECRETS_NAME
    document = _document(path)
    old = tomlkit.dumps(document)
    own = {} if proxy_secret is None else {"proxy_secret": proxy_secret}
    for table, wanted in ((document, own), (_table(path, document, _PASSWORDS) if passwords else {}, passwords)):
        for key, value in wanted.items():
            if table.setdefault(key, value) != value:
                raise ConfigError("{path}: says another {key}; take it out, then try again", path=path, key=key)
    if tomlkit.dumps(document) != old:
        write_private(path, tomlkit.dumps(document))
    return path


def settings_to_add(data_dir: Path, settings: Mapping[str, object]) -> list[str]:
    """Which of some settings the settings file still lacks, as lines; a file that is not there is written.

    Parameters
    ----------
    settings
        Key -> value. A dotted key belongs into a table.
    """
    path = data_dir / CONFIG_NAME
    document = _document(path)
    is_new = not document
    missing = []
    for name, value in settings.items():
        outer, _, key = name.rpartition(".")
        table = _table(path, document, outer) if outer else document
        if table.get(key) != value:
            missing.append(f"{name} = {tomlkit.item(value).as_string()}")
            table[key] = value
    if not is_new:
        return missing
    write_private(path, tomlkit.dumps(document))
    return []


def add_port(data_dir: Path, port: str) -> bool:
    """Have the collector listen on a serial port: put it into ``config.toml``; False when it stands there already."""
    path = data_dir / CONFIG_NAME
    document = _document(path)
    ports = document.setdefault("serial", tomlkit.array())
    if not isinstance(ports, MutableSequence):
        raise ConfigError("{path}: serial must be a list of ports", path=path)
    if port in ports:
        return False
    ports.append(port)
    write_private(path, tomlkit.dumps(document))
    return True


def _table(path: Path, document: tomlkit.TOMLDocument, name: str) -> MutableMapping[str, Any]:
    """A table of a document, begun where there is none."""
    table = document.setdefault(name, tomlkit.table())
    if not isinstance(table, MutableMapping):
        raise ConfigError("{path}: {name} is no table: put [{name}] in its place", path=path, name=name)
    return table


def _document(path: Path) -> tomlkit.TOMLDocument:
    try:
        return tomlkit.parse(bounded_bytes(path, LARGEST_FILE_BYTES).decode())
    except FileNotFoundError:
        return tomlkit.document()
    except tomlkit.exceptions.ParseError as err:
        raise ConfigError("{path}: is not valid TOML: {why}", path=path, why=err) from err
    except (OSError, UnicodeDecodeError) as err:
        raise ConfigError("{path}: cannot be read ({why}); check its owner and rights", path=path, why=err) from err


def write_table(path: Path, table: Mapping[str, object], comment: str = "") -> None:
    """Write a file of settings that only its owner can read, below a comment."""
    document = tomlkit.document()
    if comment:
        document.add(tomlkit.comment(comment))
    document.update(table)
    write_private(path, tomlkit.dumps(document))
