"""The manual page says what ``--help`` says, of the version that the change log ends with."""

import re
import subprocess
import tomllib
from pathlib import Path

from golden import Golden
from man_page import man_page

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "monitor" / "commands" / "proofing-monitor.1"
RELEASE = re.compile(r"(?m)^## (\d+\.\d+\.\d+), (\d{4}-\d\d-\d\d)$")


def newest_release() -> tuple[str, str]:
    released = RELEASE.search((ROOT / "CHANGELOG.md").read_text())
    assert released, "the change log has no release"
    return released[1], released[2]


def test_the_newest_release_is_the_version_that_is_built() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    assert newest_release()[0] == project["version"]


def test_the_manual_page_says_what_help_says(golden: Golden) -> None:
    golden.text(PAGE, man_page(*newest_release()))


def test_a_reader_of_manual_pages_finds_no_fault(mandoc: str) -> None:
    looked = subprocess.run([mandoc, "-T", "lint", "-W", "warning", PAGE], capture_output=True, text=True, timeout=60)
    assert (looked.returncode, looked.stdout) == (0, "")
