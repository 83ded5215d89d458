"""``python -m tests.faults``: everything that can fail, failing, at length; prints the table of the store's README.

    python -m tests.faults                    # the short form that the tests run
    python -m tests.faults --long             # the long one: an hour or so
    python -m tests.faults --long kill fuzz   # of some faults alone

Status 1 when something that must hold did not.
"""

import argparse
import logging
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[1] / "end_to_end"))
sys.path.insert(0, str(Path(__file__).parents[1] / "browser"))

from faults.runs import LONG, SHORT
from faults.table import as_table


def main(argv: list[str] | None = None) -> int:
    """Run what was asked for; returns the exit status."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults", description=__doc__.splitlines()[0])
    parser.add_argument("faults", nargs="*", choices=[*LONG, []], help="some of them (default: all)")
    parser.add_argument("--long", action="store_true", help="as often as the table says")
    args = parser.parse_args(argv)
    logging.disable(logging.CRITICAL)  # what fails is made to fail
    runs = LONG if args.long else SHORT
    lines = []
    for name in args.faults or runs:
        began_s = time.monotonic()
        line = runs[name]()
        print(
            f"{name}: {time.monotonic() - began_s:.0f} s{' WRONG' if line.wrong else ''}", file=sys.stderr, flush=True
        )
        lines.append(line)
    print(as_table(lines))
    return 1 if any(line.wrong for line in lines) else 0


if __name__ == "__main__":
    sys.exit(main())
