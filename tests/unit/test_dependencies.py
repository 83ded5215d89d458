"""What may be installed with this program: the packages named here, exact versions, each file by its hash."""

import re
import tomllib
from pathlib import Path

import pytest

from tests.audit import verdict

ROOT = Path(__file__).resolve().parents[2]
LOCKS = ("requirements.lock", "requirements-dev.lock", "requirements-core.lock")
GUIDE = (ROOT / "DEVELOPERS.md").read_text()
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())


def locked(lock: str) -> dict[str, tuple[str, int]]:
    """Package -> version and number of hashes, of a lock file in which every line is understood."""
    found: dict[str, tuple[str, int]] = {}
    text = (ROOT / lock).read_text().replace("\\\n", " ")
    for line in filter(None, (line.split(" #")[0].strip() for line in text.splitlines())):
        if line.startswith("#"):
            continue
        match = re.fullmatch(
            r"([a-z0-9-]+)(?:\[[a-z0-9,-]+\])?==([^\s;]+)(?: ?;[^#]*?)?((?: +--hash=sha256:[0-9a-f]{64})+)", line
        )
        assert match, f"{lock}: no exact version with hashes: {line[:80]}"
        found[match[1]] = (match[2], match[3].count("--hash="))
    return found


def direct() -> set[str]:
    """Every package this project asks for by name."""
    project = PROJECT["project"]
    asked = [*project["dependencies"], *(one for extra in project["optional-dependencies"].values() for one in extra)]
    asked += PROJECT["dependency-groups"]["dev"]
    return {re.split(r"[\[<>=!~; ]", one)[0].lower() for one in asked}


@pytest.mark.parametrize("lock", LOCKS)
def test_every_package_is_locked_to_a_version_and_its_files_to_hashes(lock: str) -> None:
    packages = locked(lock)
    assert len(packages) > 20
    assert not [name for name, (version, n_hashes) in packages.items() if not version[0].isdigit() or not n_hashes]


def test_what_is_developed_with_is_what_is_installed() -> None:
    run, develop, core = (locked(lock) for lock in LOCKS)
    assert {name: develop.get(name, ("missing", 0))[0] for name in run} == {
        name: version for name, (version, _) in run.items()
    }
    assert {name: run.get(name, ("missing", 0))[0] for name in core} == {
        name: version for name, (version, _) in core.items()
    }
    groups = PROJECT["dependency-groups"]
    assert set(groups["core"]) <= set(PROJECT["project"]["dependencies"])


def test_every_package_asked_for_is_locked_and_has_its_reason_in_the_guide() -> None:
    develop = locked(LOCKS[1])
    assert direct() - develop.keys() == set()
    table = GUIDE[GUIDE.index("## Dependencies") :]
    table = table[: table.index("Ranges stand in")].lower()
    assert {name for name in direct() if not re.search(rf"(?<![\w-]){re.escape(name)}(?![\w-])", table)} <= {
        "pandas-stubs", "types-pyserial",
    }  # fmt: skip


def test_no_package_comes_from_an_address() -> None:
    for lock in LOCKS:
        text = (ROOT / lock).read_text()
        assert not re.search(r"(?m)^\s*(-e|--index|--extra|--find|--trusted|git\+|https?://)| @ ", text)
    asked = str(PROJECT["project"]) + str(PROJECT["dependency-groups"])
    assert " @ " not in asked


def test_an_advisory_is_told_and_silence_is_not_taken_for_praise() -> None:
    good = {"name": "a", "version": "1", "vulns": []}
    bad = {"name": "b", "version": "2", "vulns": [{"id": "X-1", "aliases": ["Y-2"], "fix_versions": ["2.1"]}]}
    unknown = {"name": "c", "skip_reason": "not found"}
    assert verdict({"dependencies": [good, bad, unknown]}) == (["b 2: X-1, mended in 2.1"], 2, 1)
    assert verdict({"dependencies": [unknown]}) == ([], 0, 1)
