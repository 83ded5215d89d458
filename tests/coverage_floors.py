"""Floors of branch coverage, over all and for each pure room: ``python -m tests.coverage_floors`` after a whole run.

Only what runs in the tests' own processes is counted, and not in the long ones (``conftest.py`` says which), nor the
programs that they start: those start hundreds of times, and each would pay for being traced.
"""

import io
import sys
from pathlib import Path

from coverage import Coverage

ROOT = Path(__file__).resolve().parent.parent
OVER_ALL_PCT = 90.0
PURE_PCT = {
    "monitor/wire": 97.0,
    "monitor/recipe": 97.0,
    "monitor/dough": 97.0,
    "monitor/alerts": 97.0,
    "monitor/plan": 97.0,
}


def below(covered: dict[str, float], floors: dict[str, float]) -> list[str]:
    """What is wrong with coverage in percent held against its floors; empty when nothing is."""
    return [
        f"{part}: {covered[part]:.1f} % of its lines and branches are run by tests, {floor:g} % is the floor"
        for part, floor in floors.items()
        if covered[part] < floor
    ]


def report(measured: Coverage, **what: object) -> tuple[float, str]:
    """Coverage in percent of some files, and the table of those that are not wholly covered."""
    out = io.StringIO()
    return measured.report(file=out, **what), out.getvalue()


def main() -> int:
    """Print the tables; 1 when a part is below its floor."""
    measured = Coverage(data_file=str(ROOT / ".coverage"), config_file=str(ROOT / "pyproject.toml"))
    measured.load()
    over_all, table = report(measured)
    print(table)
    covered = {"all": over_all}
    for room in PURE_PCT:
        covered[room], _ = report(measured, include=f"{ROOT}/{room}/*")
    for part, share in covered.items():
        print(f"{part}: {share:.1f} %")
    wrong = below(covered, {"all": OVER_ALL_PCT, **PURE_PCT})
    print("\n".join(wrong) or "every part is above its floor")
    return int(bool(wrong))


if __name__ == "__main__":
    sys.exit(main())
