"""Every reason for which something is not used has words, and a mend."""

import re
from datetime import UTC
from pathlib import Path

import pytest

import monitor
from monitor.wire.readings import Flag
from monitor.wording.reader import Reader
from monitor.wording.refusals import REASONS, refusal_mend, refusal_text

ROOT = Path(monitor.__file__).parent
GIVEN = re.compile(r'(?:WireError\(|_refuse\([^"]*?, |reason = |_FAULT = |CHANNEL = |Fault\(.*?)"([a-z0-9 ]+)"')
READER = Reader(UTC)


def reasons_in_code() -> set[str]:
    files = [*(ROOT / "wire").glob("*.py"), *(ROOT / "sources").glob("*.py"), *(ROOT / "collector").glob("*.py")]
    found = {reason for file in files for reason in GIVEN.findall(file.read_text(encoding="utf-8"))}
    return found | {flag.value for flag in Flag if flag not in (Flag.OK, Flag.TAKEN_BACK)}


def test_every_reason_that_is_given_has_words() -> None:
    found = reasons_in_code()
    assert found >= {"noise", "checksum", "pointer", "unit", "too long", "batch step failed", "clock"}
    assert found <= REASONS


@pytest.mark.parametrize("reason", sorted(REASONS))
def test_a_reason_says_what_and_what_to_do(reason: str) -> None:
    assert refusal_text(reason, "", READER) not in ("", reason)
    assert refusal_text(reason, "co2\x1b[31m", READER).endswith(": co2 [31m")
    assert refusal_mend(reason, READER)


def test_a_reason_of_another_version_is_said_as_it_is() -> None:
    assert (refusal_text("odd", "", READER), refusal_mend("odd", READER)) == ("odd", "")
