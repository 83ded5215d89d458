"""``python -m tests.accuracy``: how good the forecasts are on simulated doughs, and whether a change made them better.

    python -m tests.accuracy --out before.json                        # then change something
    python -m tests.accuracy --out after.json --compare before.json   # what it did, with its doubt
    python -m tests.accuracy --simulator wild --kind starter --limit 20
    python -m tests.accuracy --read after.json --by history --by trouble
    python -m tests.accuracy --read after.json --leave-one-out checkpoint
    python -m tests.accuracy --uncorrected --out raw.json             # then --read raw.json --leave-one-out stage
    python -m tests.accuracy --read after.json --pictures pictures
    python -m tests.accuracy --learned                                # three batches teach, the fourth is judged
    python -m tests.accuracy --knowing --seeds 3000:3020 --out knowing.json   # ten seconds a dough
    python -m tests.accuracy --seeds 3000:3020 --against knowing.json

Recordings are made once and kept; both runs of a comparison take the same.
"""

import os

if __name__ == "__main__":  # read when NumPy loads: each process is the work of one core
    os.environ |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}

import argparse
import sys
import time
from functools import partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from accuracy.judging import Forecaster, Run, Task, by_program, by_uncorrected_program, findings, labels_of, load_run
from accuracy.knowing import by_knowing
from accuracy.leave_one_out import left_out, peak_places, quantile_mapping, stage_mapping
from accuracy.recipes import N_BATCHES, by_taught_program
from accuracy.recorded import recorded, version_of_estimator
from accuracy.tables import GROUPINGS, SHOWN, against_text, comparison_text, text_of

from firmware_sim.doughs.catalogue import SIMULATORS
from firmware_sim.recordings.histories import CATALOGUES, TROUBLED, Wanted
from monitor.backtest.parallel import ProcessMap
from monitor.backtest.simulated import default_cache, version_of_simulators

DEFAULT_SEEDS = range(3000, 3060)
MAPPINGS = {"checkpoint": quantile_mapping, "stage": stage_mapping}
TIMED_EACH = 6  # of how many recordings one is timed


def _seeds(text: str) -> range:
    first, _, end = text.partition(":")
    return range(int(first), int(end or int(first) + 1))


def _told(done: int, of: int) -> None:
    print(f"\r{done} of {of} recordings", end="\n" if done == of else "", file=sys.stderr, flush=True)


def judged_run(args: argparse.Namespace, forecaster: Forecaster) -> Run:
    """The recordings that were asked for, forecast; of several batches of a recipe the last ones."""
    began_s = time.monotonic()
    wanted = Wanted(has_formula=not args.no_formula, catalogue=args.catalogue, batches=N_BATCHES if args.learned else 0)
    folders = recorded(args.simulator or SIMULATORS, args.seeds, wanted, args.cache, args.cores)
    if args.learned:
        folders = folders[N_BATCHES - 1 :: N_BATCHES]
    if args.kind:
        folders = [folder for folder in folders if any(kind in labels_of(folder)["kind"] for kind in args.kind)]
    folders = folders[: args.limit]
    is_knowing = forecaster is by_knowing
    tasks = [
        Task(folder, not (args.no_course or is_knowing), number % TIMED_EACH == 0 and not is_knowing)
        for number, folder in enumerate(folders)
    ]
    found = ProcessMap(args.cores)(partial(findings, forecaster=forecaster), tasks, _told)
    about = {
        "forecaster": forecaster.__name__,
        "estimator": version_of_estimator(),
        "simulators": version_of_simulators(),
        "seeds": f"{args.seeds.start}:{args.seeds.stop}",
        "catalogue": wanted.catalogue,
        "formula": wanted.has_formula,
        "recordings": len(folders),
        "took_s": round(time.monotonic() - began_s),
    }
    return Run(
        about,
        tuple(each for one in found for each in one.judged),
        tuple(one.course for one in found if one.course is not None),
        tuple(one.cost_s for one in found if one.cost_s is not None),
    )


def main(argv: list[str] | None = None) -> int:
    """Judge what was asked for; returns the exit status."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.accuracy", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    which = parser.add_argument_group("which recordings")
    which.add_argument("--simulator", action="append", choices=SIMULATORS, help="only this one (may be repeated)")
    which.add_argument("--kind", action="append", help="only kinds of dough whose name holds this (may be repeated)")
    which.add_argument("--seeds", type=_seeds, default=DEFAULT_SEEDS, metavar="A:B", help="B left out")
    which.add_argument("--limit", type=int, help="so many recordings at the most")
    which.add_argument("--catalogue", choices=CATALOGUES, default=TROUBLED, help="what gets between sensor and dough")
    which.add_argument("--no-formula", action="store_true", help="batch files without what was weighed")
    how = parser.add_argument_group("what is judged")
    how.add_argument("--no-course", action="store_true", help="checkpoints alone: a third of the time")
    how.add_argument("--knowing", action="store_true", help="the forecaster that knows the equations; takes long")
    how.add_argument("--uncorrected", action="store_true", help="peaks as the family of curves foretells them")
    how.add_argument("--learned", action="store_true", help="fourth batches of a recipe, against what nothing taught")
    show = parser.add_argument_group("what is shown")
    show.add_argument("--read", type=Path, metavar="RUN.json", help="a saved run instead of a new one")
    show.add_argument("--out", type=Path, metavar="RUN.json", help="save the run")
    show.add_argument("--by", action="append", choices=GROUPINGS, help=f"group by (default: {', '.join(SHOWN)})")
    show.add_argument("--compare", type=Path, metavar="RUN.json", help="what changed since this saved run")
    show.add_argument("--against", type=Path, metavar="RUN.json", help="errors over those of this run, with --knowing")
    show.add_argument("--leave-one-out", choices=MAPPINGS, help="what a recalibration by other simulators changes")
    show.add_argument("--places", action="store_true", help="where truths lay in forecasts of the peak, by stage")
    show.add_argument("--pictures", type=Path, metavar="FOLDER", help="draw what a baker and a statistician look at")
    parser.add_argument("--cache", type=Path, default=default_cache(os.environ), help="where recordings are kept")
    parser.add_argument("--cores", type=int, default=2)
    args = parser.parse_args(argv)
    groupings = tuple(args.by or SHOWN)
    forecaster = by_program
    for is_asked, other in (
        (args.knowing, by_knowing),
        (args.learned, by_taught_program),
        (args.uncorrected, by_uncorrected_program),
    ):
        forecaster = other if is_asked else forecaster
    run = load_run(args.read) if args.read else judged_run(args, forecaster)
    if args.out:
        run.save(args.out)
    if args.pictures:
        from accuracy.pictures import draw  # slow to load

        print(*draw(run, args.pictures), sep="\n", file=sys.stderr)
    if args.compare:
        print(comparison_text(load_run(args.compare), run, groupings))
    elif args.against:
        print(against_text(run, load_run(args.against), groupings))
    elif args.leave_one_out:
        print(comparison_text(run, left_out(run, MAPPINGS[args.leave_one_out]), groupings))
    elif args.places:
        print(*(f"{stage}: {np.round(each, 2)}" for stage, each in peak_places(run).items()), sep="\n")
    elif args.learned and not args.read:
        print(comparison_text(judged_run(args, by_program), run, groupings))
    else:
        print(text_of(run, groupings))
    return 0


if __name__ == "__main__":
    os.nice(10)
    sys.exit(main())
