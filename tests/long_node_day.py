"""``python -m tests.long_node_day``: the firmware's day at the speed of a clock that hurries less, or a week of it.

    python -m tests.long_node_day --hours 24 --speed 600      # the day of the end-to-end test, slower and more shaken
    python -m tests.long_node_day --hours 168 --speed 2880    # a week: does the heap stay flat?

Prints what was sent, acknowledged and kept, and what the heap did; status 1 when a reading is missing or twice there.
"""

import argparse
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parent / "end_to_end"))

from node_day import Day, describe


def main(argv: list[str] | None = None) -> int:
    """Live the day; returns the exit status."""
    parser = argparse.ArgumentParser(prog="python -m tests.long_node_day", description=__doc__.splitlines()[0])
    parser.add_argument("--hours", type=float, default=24.0, help="of dough time (%(default)g)")
    parser.add_argument("--speed", type=float, default=600.0, help="dough time over real time (%(default)g)")
    parser.add_argument("--rounds", type=int, default=4, help="how often everything fails once (%(default)s)")
    args = parser.parse_args(argv)
    with tempfile.TemporaryDirectory() as folder:
        day = Day(Path(folder), args.speed)
        try:
            day.live(args.hours, args.rounds)
            wrong = day.settle()
        finally:
            day.close()
        print("\n".join(describe(day)))
    print("\n".join(wrong) if wrong else "every acknowledged reading is in the store exactly once")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
