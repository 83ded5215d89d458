"""The recipe and kitchen files of a bakery, read from its data directory or from where they are named."""

import tomllib
from pathlib import Path

from monitor.errors import ConfigError
from monitor.plan.kitchen import Kitchen, kitchen_from_toml
from monitor.recipe.parts import Recipe
from monitor.recipe.recipe_file import recipe_from_toml

RECIPES_FOLDER = "recipes"
KITCHEN_NAME = "kitchen.toml"
MOST_BYTES = 1_000_000  # judgement: no recipe is a megabyte


def read_recipe(path: Path) -> Recipe:
    """A recipe from its file.

    Raises
    ------
    ConfigError
        When it cannot be read, is no TOML, or has faults.
    """
    try:
        if path.stat().st_size > MOST_BYTES:
            raise ConfigError("{path}: is larger than a recipe file can be; name the right file", path=path)
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as err:
        raise ConfigError(
            "{path}: cannot be read ({why}); name a recipe file that is there", path=path, why=err.strerror
        ) from err
    except UnicodeDecodeError as err:
        raise ConfigError("{path}: is no text in UTF-8; save it as such", path=path) from err
    except tomllib.TOMLDecodeError as err:
        raise ConfigError("{path}: is no TOML: {why}", path=path, why=err) from err
    return recipe_from_toml(table, str(path))


def read_kitchen(path: Path | None, data_dir: Path) -> Kitchen:
    """The kitchen of a file; without one that of the data directory, or the usual one.

    Raises
    ------
    ConfigError
        When the file named is not there, or has faults.
    """
    named = path or data_dir / KITCHEN_NAME
    if path is None and not named.exists():
        return Kitchen()
    try:
        table = tomllib.loads(named.read_text(encoding="utf-8"))
    except OSError as err:
        raise ConfigError(
            "{named}: cannot be read ({why}); name a kitchen file that is there", named=named, why=err.strerror
        ) from err
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as err:
        raise ConfigError("{named}: is no TOML: {why}", named=named, why=err) from err
    return kitchen_from_toml(table, str(named))


def recipes_in(data_dir: Path) -> list[Path]:
    """The recipe files of a data directory, by name."""
    return sorted((data_dir / RECIPES_FOLDER).glob("*.toml"))
