"""Golden files: what was found once, read by a person, and must be found again.

A difference fails the test and shows where it is. ``pytest --update-golden`` writes what is found now in its place,
to be read in the difference that git shows before it is committed; it is refused where ``CI`` is set.
"""

import json
import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

UPDATE = "--update-golden"
MISSING = "nothing"


@dataclass(slots=True)
class Golden:
    """Compares with golden files, or writes them anew."""

    is_updating: bool
    written: list[Path] = field(default_factory=list)

    @classmethod
    def of(cls, config: pytest.Config) -> "Golden":
        """As the run was asked for. Raises ``pytest.UsageError`` for an update where nobody reads what was written."""
        is_updating = bool(config.getoption(UPDATE))
        if is_updating and os.environ.get("CI"):
            raise pytest.UsageError(f"{UPDATE}: golden files are written by hand, not where CI is set")
        return cls(is_updating)

    def text(self, path: Path, found: str) -> None:
        """The file must hold this text."""
        if not self._is_written(path, found):
            assert found.splitlines() == path.read_text(encoding="utf-8").splitlines(), f"{path.name}: see {UPDATE}"

    def facts(self, path: Path, found: object, *, within: float = 0.0, share: float = 0.0) -> None:
        """The file must hold these facts, as JSON; numbers may be off by ``within`` and a ``share`` of themselves."""
        lines = json.dumps(found, indent=1, ensure_ascii=False, sort_keys=True)
        if not self._is_written(path, lines + "\n"):
            differences = list(
                _differences(json.loads(lines), json.loads(path.read_text(encoding="utf-8")), within, share)
            )
            assert not differences, f"{path.name}: {'; '.join(differences[:20])} (see {UPDATE})"

    def _is_written(self, path: Path, text: str) -> bool:
        if self.is_updating:
            path.write_text(text, encoding="utf-8")
            self.written.append(path)
        return self.is_updating


def _differences(found: Any, expected: Any, within: float, share: float, where: str = "") -> Iterator[str]:
    """Where two values from JSON differ, in words."""
    if isinstance(found, dict) and isinstance(expected, dict):
        for key in sorted(found.keys() | expected.keys()):
            yield from _differences(
                found.get(key, MISSING), expected.get(key, MISSING), within, share, f"{where}/{key}"
            )
    elif isinstance(found, list) and isinstance(expected, list) and len(found) == len(expected):
        for place, (one, other) in enumerate(zip(found, expected, strict=True)):
            yield from _differences(one, other, within, share, f"{where}/{place}")
    elif _is_number(found) and _is_number(expected):
        if not abs(found - expected) <= within + share * abs(expected):
            yield f"{where} is {found}, was {expected}"
    elif found != expected:
        yield f"{where} is {found!r}, was {expected!r}"


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)
