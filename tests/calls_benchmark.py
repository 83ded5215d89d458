"""``python -m tests.calls_benchmark``: how many calls of simulated nights are false, and how many moments are missed.

    python -m tests.calls_benchmark --nights 5 --out before.json           # then change a rule
    python -m tests.calls_benchmark --nights 5 --against before.json       # seconds: the forecasts are kept
    python -m tests.calls_benchmark --nights 30                            # a month; hours the first time
    python -m tests.calls_benchmark --show 12                              # every false call, the first of them

What a false call and a missed moment are stands at the head of ``tests/calls/judging.py``.
"""

import os

if __name__ == "__main__":  # read when NumPy loads: each process is the work of one core
    os.environ |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}

import argparse
import json
import sys
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import asdict
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from calls.judging import Called, NightFound, judged
from calls.kitchens import nights

from monitor.backtest.parallel import ProcessMap
from monitor.backtest.simulated import default_cache, version_of_simulators

GROUPINGS = ("place", "simulator", "kind", "judged by")


def _told(done: int, of: int) -> None:
    print(f"\r{done} of {of} nights", end="\n" if done == of else "", file=sys.stderr, flush=True)


def figures(found: Sequence[NightFound]) -> dict[str, float]:
    """False calls a night, missed moments per hundred batches, and what else a kind of night is judged by."""
    awaited = [each for each in found if each.awaited_s is not None]
    n_false = sum(one.is_false for each in found for one in each.called)

    def per_hundred(n: int) -> float:
        return 100.0 * n / len(awaited) if awaited else 0.0

    return {
        "nights": float(len(found)),
        "calls": sum(len(each.called) for each in found) / max(len(found), 1),
        "false a night": n_false / max(len(found), 1),
        "nights with any": sum(any(one.is_false for one in each.called) for each in found) / max(len(found), 1),
        "awaited": float(len(awaited)),
        "missed of 100": per_hundred(sum(each.is_missed for each in awaited)),
        "by first calls": per_hundred(sum(each.is_first_missed for each in awaited)),
        "missed widely": per_hundred(sum(each.is_missed_widely for each in awaited)),
    }


def table(groups: dict[str, Sequence[NightFound]]) -> str:
    """The figures of groups of nights, one a row."""
    rows = {name: figures(found) for name, found in groups.items()}
    head = list(next(iter(rows.values())))
    lines = ["".join([f"{'':<22}", *(f"{name:>17}" for name in head)])]
    for name, row in rows.items():
        shown = (f"{value:>17.0f}" if key in ("nights", "awaited") else f"{value:>17.2f}" for key, value in row.items())
        lines.append("".join([f"{name:<22}", *shown]))
    return "\n".join(lines)


def _grouped(found: Sequence[NightFound], key: Callable[[NightFound], str]) -> dict[str, Sequence[NightFound]]:
    return {name: [each for each in found if key(each) == name] for name in sorted(set(map(key, found)))}


def text_of(found: Sequence[NightFound]) -> str:
    """All that a run showed."""
    parts = [table({"all nights": found})]
    if not found:
        return parts[0]
    for name in GROUPINGS:
        parts.append(table(_grouped(found, lambda each, name=name: each.labels[name])))  # type: ignore[misc]
    calls = Counter(one.kind for each in found for one in each.called)
    false = Counter(one.kind for each in found for one in each.called if one.is_false)
    parts.append("\n".join(f"{kind:<22}{n:>6} calls {false[kind]:>6} false" for kind, n in sorted(calls.items())))
    leads = sorted(
        each.first_lead_min for each in found if each.labels["judged by"] == "peak" and each.first_lead_min is not None
    )
    if leads:
        parts.append(f"first call before a peak that was awaited: median {leads[len(leads) // 2]:.0f} min")
    lifeless = [each for each in found if each.labels["life"] == "lifeless"]
    told = sum(any(one.kind == "not rising" for one in each.called) for each in lifeless)
    parts.append(f"without live leaven: {len(lifeless)} nights, {told} of them called")
    return "\n\n".join(parts)


def load_run(path: Path) -> list[NightFound]:
    """A run that was saved."""
    rows = json.loads(path.read_text(encoding="utf-8"))
    return [
        NightFound(
            **row | {"called": tuple(Called(**one | {"again_s": tuple(one["again_s"])}) for one in row["called"])}
        )
        for row in rows
    ]


def main(argv: list[str] | None = None) -> int:
    """Judge the nights that were asked for; returns the exit status."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.calls_benchmark",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--nights", type=int, default=5, help="of each of the twenty kitchens")
    parser.add_argument("--first", type=int, default=0, help="the first of them; no rule was tuned on those from 5 on")
    parser.add_argument("--out", type=Path, metavar="RUN.json", help="save the run")
    parser.add_argument("--against", type=Path, metavar="RUN.json", help="show this saved run first")
    parser.add_argument(
        "--show", type=int, default=0, help="so many of the nights with a false call or a missed moment"
    )
    parser.add_argument("--cache", type=Path, default=default_cache(os.environ), help="where nights are kept")
    parser.add_argument("--cores", type=int, default=2)
    args = parser.parse_args(argv)
    place = args.cache / version_of_simulators() / "kitchens"
    found = ProcessMap(args.cores)(partial(judged, cache=place), nights(args.nights, args.first), _told)
    if args.out:
        args.out.write_text(json.dumps([asdict(each) for each in found]) + "\n", encoding="utf-8")
    if args.against:
        print("before:", text_of(load_run(args.against)), "\nnow:", sep="\n\n")
    print(text_of(found))
    for each in [one for one in found if one.is_missed or any(call.is_false for call in one.called)][: args.show]:
        awaited = "never" if each.awaited_s is None else f"{each.awaited_s / 60.0:.0f} min"
        print(f"\n{each.name}: {each.labels}; awaited {awaited}{', missed' if each.is_missed else ''}")
        for call in each.called:
            print(f"  {call.at_s / 60.0:6.0f} min  {call.kind:<16}{call.rise_pct:6.0f} %{'  false' * call.is_false}")
    return 0


if __name__ == "__main__":
    os.nice(10)
    sys.exit(main())
