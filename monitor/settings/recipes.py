"""The recipe and kitchen files of a bakery, read from its data directory or from where they are named."""

import tomllib
from pathlib import Path
from unicodedata import normalize

from monitor.errors import ConfigError
from monitor.plan.kitchen import Kitchen, kitchen_from_toml
from monitor.recipe.parts import Recipe
from monitor.recipe.recipe_file import recipe_from_toml

RECIPES_FOLDER = "recipes"
KITCHEN_NAME = "kitchen.toml"
LONGEST_NAME = 60
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
        text = path.read_text(encoding="utf-8")
    except OSError as err:
        raise ConfigError(
            "{path}: cannot be read ({why}); name a recipe file that is there", path=path, why=err.strerror
        ) from err
    except UnicodeDecodeError as err:
        raise ConfigError("{path}: is no text in UTF-8; save it as such", path=path) from err
    return recipe_of_text(text, str(path))


def recipe_of_text(text: str, where: str) -> Recipe:
    """A recipe from the text of a recipe file; ``where`` is what its faults call it.

    Raises
    ------
    ConfigError
        When it is no TOML, or has faults.
    """
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as err:
        raise ConfigError("{path}: is no TOML: {why}", path=where, why=err) from err
    return recipe_from_toml(table, where)


def keep_recipe(text: str, data_dir: Path) -> Path:
    """Keep the text of a recipe file beside the other recipes, under the recipe's name.

    Raises
    ------
    ConfigError
        When it has faults, when there is a recipe of that name, or when the file cannot be written.
    """
    recipe = recipe_of_text(text, RECIPES_FOLDER)
    letters = "".join(each if each.isalnum() else " " for each in normalize("NFKC", recipe.name).casefold())
    path = data_dir / RECIPES_FOLDER / f"{'-'.join(letters.split())[:LONGEST_NAME] or 'recipe'}.toml"
    try:
        path.parent.mkdir(exist_ok=True)
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError as err:
        raise ConfigError("{path}: is there already; give the recipe another name", path=path) from err
    except OSError as err:
        raise ConfigError("{path}: cannot be written ({why}); name another place", path=path, why=err.strerror) from err
    return path


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
