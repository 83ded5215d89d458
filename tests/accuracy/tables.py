"""Figures as a person reads them: one run, or two runs on the same recordings and how they differ."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TypeVar

import numpy as np
from accuracy.figures import Figure, course_figures, figures_of, median_of
from accuracy.judging import CHECKPOINTS, Course, Judged, Run
from numpy.typing import NDArray

Array = NDArray[np.float64]
Row = TypeVar("Row", Judged, Course)

POOLED = "all"
GROUPINGS = (
    "simulator", "kind", "simulator x kind", "stage", "leaven", "dough", "history", "trouble", "folds", "noise",
    "probe", "vessel", "judged_by",
)  # fmt: skip
SHOWN = ("simulator", "kind")
LEAST = 5  # judgement: fewer batches are not shown as a group
SURE = 2.0  # standard deviations by which two runs surely differ
NAMED = 32  # letters of a group's name

# What is aimed at, in the unit shown: outside it a figure is marked. Of every group, and, where it is less, of all.
AIMS = {
    "early_truths": (35.0, 65.0), "covers_90": (80.0, 97.0), "false_any": (0.0, 2.0), "timed_though_never": (0.0, 5.0),
}  # fmt: skip
POOLED_AIMS = {
    **{checkpoint: {"covers_90": (87.0, 93.0)} for checkpoint in CHECKPOINTS},
    "start": {"error_share": (0.0, 25.0), "covers_90": (85.0, 95.0)},
    **{
        f"peak {share}": {"error_share": (0.0, most), "covers_90": (87.0, 93.0)}
        for share, most in (("35%", 15.0), ("50%", 15.0), ("75%", 20.0))
    },
}

Column = tuple[str, str, float, int]  # figure, head, factor, digits
COLUMNS: tuple[Column, ...] = (
    ("error_min", "error/min", 1.0, 1),
    ("error_share", "of left %", 100.0, 0),
    ("late_share", "late by %", 100.0, 0),
    ("early_truths", "early %", 100.0, 0),
    ("covers_50", "50 %", 100.0, 0),
    ("covers_80", "80 %", 100.0, 0),
    ("covers_90", "90 %", 100.0, 0),
    ("width_share", "width %", 100.0, 0),
    ("crps_min", "CRPS/min", 1.0, 1),
    ("crps_share", "CRPS %", 100.0, 0),
    ("winkler_min", "Winkler", 1.0, 0),
    ("rise_off_pct", "rise off", 1.0, 1),
    ("timed_though_never", "never: timed", 100.0, 0),
)
COURSE_COLUMNS: tuple[Column, ...] = (
    ("false_ready", "false ready", 100.0, 1),
    ("false_at_peak", "at peak", 100.0, 1),
    ("false_past_peak", "past peak", 100.0, 1),
    ("false_any", "any %", 100.0, 1),
    ("horizon_share", "horizon %", 100.0, 0),
    ("revisions_correlate", "revisions", 1.0, 2),
    ("taken_back", "taken back %", 100.0, 0),
    ("lifeless_timed", "lifeless: timed", 100.0, 0),
    ("lifeless_said_h", "said after/h", 1.0, 1),
)
COMPARED: tuple[Column, ...] = (
    ("error_min", "error/min", 1.0, 1),
    ("error_share", "of left %", 100.0, 1),
    ("late_share", "late by %", 100.0, 0),
    ("early_truths", "early %", 100.0, 0),
    ("covers_90", "90 %", 100.0, 0),
    ("width_share", "width %", 100.0, 0),
    ("crps_share", "CRPS %", 100.0, 1),
)
COMPARED_COURSES: tuple[Column, ...] = (
    ("false_any", "falsely called %", 100.0, 1),
    ("horizon_share", "horizon %", 100.0, 0),
    ("revisions_correlate", "revisions", 1.0, 2),
    ("taken_back", "taken back %", 100.0, 0),
)
CHANGE_WIDTH = 28
MOST_RATIO = 1.15  # aimed at: the error over that of a forecaster that knows the equations
KEY = """\
Each figure with one standard deviation. error: median, in minutes and of the time left. late by: median, of the time
left; early: truths before the median, 50 when fair. 50/80/90 %: truths in the central interval; width: of the 90 %
one, median, of the time left. CRPS: mean, in minutes and of the time left (at most three times it). Winkler (of the
90 % interval): mean, minutes. rise off: the rise now, foretold less true, points. never: timed: doughs that peak
below their target and are given a time all the same. false: batches called so more than 20 min too early. horizon:
share of the whole time before the truth from which on all medians are within a tenth of that time. revisions:
correlation of one with the next. taken back: messages whose next one goes back at least half. lifeless: doughs
without live leaven that are given a time at the end all the same, and after how many hours it is said. '!' lies
outside the aims."""


def groups_of(labels: Mapping[str, str], grouping: str) -> Sequence[str]:
    """The groups that a recording belongs to: one of each grouping, but a group for each trouble."""
    if grouping == POOLED:
        return (POOLED,)
    if grouping == "trouble":
        return labels["trouble"].split("; ")
    return (", ".join(labels[name] for name in grouping.split(" x ")),)


def _groups(rows: Sequence[Row], groupings: Sequence[str]) -> Iterator[tuple[str, list[Row]]]:
    """Each group of rows with its name, pooled first; small ones and a grouping of one group are left out."""
    for grouping in (POOLED, *groupings):
        members: dict[str, list[Row]] = {}
        for row in rows:
            for group in groups_of(row.labels, grouping):
                members.setdefault(group, []).append(row)
        if grouping == POOLED or len(members) > 1:
            yield from ((name, members[name]) for name in sorted(members) if len(members[name]) >= LEAST)


def _label(name: str) -> str:
    return f"{('  ' if name != POOLED else '') + name[: NAMED - 3]:{NAMED}}"


def _aim(what: str, name: str, is_pooled: bool) -> tuple[float, float] | None:
    """Least and most of a figure that are aimed at, in the unit shown; ``what``: the checkpoint, or courses."""
    pooled = POOLED_AIMS.get(what, {}).get(name) if is_pooled else None
    return pooled or AIMS.get(name)


def _cell(figure: Figure | None, column: Column, aim: tuple[float, float] | None) -> str:
    _, head, factor, digits = column
    width = max(len(head), 10) + 1
    if figure is None:
        return f"{'':{width}}"
    mark = "!" if aim is not None and _off(figure, aim, factor) else ""
    return f"{_shown(figure, factor, digits) + mark:>{width}}"


def _shown(figure: Figure, factor: float, digits: int) -> str:
    return f"{factor * figure.value:.{digits}f}±{factor * figure.sd:.{digits}f}"


def _off(figure: Figure, aim: tuple[float, float], factor: float) -> float:
    """How far outside its aim a figure lies, in standard deviations; 0 inside."""
    value = factor * figure.value
    return max(aim[0] - value, value - aim[1], 0.0) / max(factor * figure.sd, 1e-9)


def _table(
    what: str,
    columns: Sequence[Column],
    rows: Sequence[Row],
    groupings: Sequence[str],
    figures: Callable[[Sequence[Row]], Mapping[str, Figure]],
) -> Iterator[str]:
    known = [(name, members, figures(members)) for name, members in _groups(rows, groupings)]
    shown = [column for column in columns if any(column[0] in found for _, _, found in known)]
    if not shown:
        return
    yield ""
    yield f"{what.upper():{NAMED}}{'n':>5}" + "".join(f"{head:>{max(len(head), 10) + 1}}" for _, head, _, _ in shown)
    for name, members, found in known:
        cells = "".join(_cell(found.get(column[0]), column, _aim(what, column[0], name == POOLED)) for column in shown)
        yield f"{_label(name)}{len(members):5d}{cells}".rstrip()


def _aims(
    what: str,
    columns: Sequence[Column],
    rows: Sequence[Row],
    groupings: Sequence[str],
    figures: Callable[[Sequence[Row]], Mapping[str, Figure]],
) -> Iterator[str]:
    """Whether each aim is met: pooled, and by how many groups; surely not: by more than two standard deviations."""
    known = [(name, figures(members)) for name, members in _groups(rows, groupings)]
    for figure_name, _, factor, digits in columns:
        aim = _aim(what, figure_name, is_pooled=True)
        found = [(name, figure) for name, each in known if (figure := each.get(figure_name)) is not None]
        if aim is None or not found:
            continue
        (_, of_all), *groups = found
        group_aim = _aim(what, figure_name, is_pooled=False)
        off = [_off(figure, group_aim, factor) for _, figure in groups] if group_aim is not None else []
        met, surely = sum(each == 0.0 for each in off), sum(each > SURE for each in off)
        cells = f"{f'{aim[0]:.0f}..{aim[1]:.0f}':>12}{_shown(of_all, factor, digits):>12}"
        cells += f"{'yes' if _off(of_all, aim, factor) == 0.0 else 'no':>6}"
        cells += f"  {met} of {len(off)}, {surely} surely not" if off else ""
        yield f"{f'{what} {figure_name}':{NAMED}}{cells}"


def text_of(run: Run, groupings: Sequence[str] = SHOWN) -> str:
    """One run."""
    lines = [", ".join(f"{name} {value}" for name, value in run.about.items()), KEY]
    heads = f"{'aimed at':>12}{'all':>12}{'met':>6}  groups that meet theirs (surely not: by two deviations)"
    lines_of_aims = ["", f"{'AIMS':{NAMED}}{heads}"]
    for checkpoint in CHECKPOINTS:
        rows = [row for row in run.judged if row.checkpoint == checkpoint]
        lines += _table(checkpoint, COLUMNS, rows, groupings, figures_of)
        lines_of_aims += _aims(checkpoint, COLUMNS, rows, groupings, figures_of)
    lines += _table("courses", COURSE_COLUMNS, run.courses, groupings, course_figures)
    lines_of_aims += _aims("courses", COURSE_COLUMNS, run.courses, groupings, course_figures)
    lines += lines_of_aims
    return "\n".join([*lines, "", _cost(run)] if run.costs_s else lines) + "\n"


def _cost(run: Run) -> str:
    cost = median_of(1000.0 * np.array(run.costs_s))
    return f"one forecast at four hours of readings: {cost.value:.1f}±{cost.sd:.1f} ms of processor time"


# -- two runs -----------------------------------------------------------------------------------------------------


def _paired(before: Sequence[Row], after: Sequence[Row]) -> tuple[list[Row], list[Row]]:
    """The rows that both have, in one order."""

    def key(row: Judged | Course) -> tuple[object, ...]:
        if isinstance(row, Course):
            return row.recording, row.ready_s, row.peak_s
        return row.recording, row.checkpoint, row.at_s, row.truth_s

    known = {key(row): row for row in before}
    both = [row for row in after if key(row) in known]
    return [known[key(row)] for row in both], both


def _change_cell(before: Figure | None, after: Figure | None, column: Column) -> str:
    if before is None or after is None:
        return f"{'':{CHANGE_WIDTH}}"
    _, _, factor, digits = column
    change = before.change_to(after)
    mark = "*" if abs(change.value) > SURE * change.sd and change.value else " "
    text = f"{factor * before.value:.{digits}f} > {factor * after.value:.{digits}f}"
    cell = f"{text} ({factor * change.value:+.{digits}f}±{factor * change.sd:.{digits}f}){mark}"
    return f" {cell:>{CHANGE_WIDTH - 1}}"


def _change_table(
    title: str,
    columns: Sequence[Column],
    rows: tuple[Sequence[Row], Sequence[Row]],
    groupings: Sequence[str],
    figures: Callable[[Sequence[Row]], Mapping[str, Figure]],
) -> Iterator[str]:
    before, after = rows
    by_name = {row.recording: row for row in before}
    yield ""
    yield f"{title:{NAMED}}{'n':>5}" + "".join(f"{head:>{CHANGE_WIDTH - 1}} " for _, head, _, _ in columns)
    for name, members in _groups(after, groupings):
        ones, others = figures([by_name[row.recording] for row in members]), figures(members)
        cells = "".join(_change_cell(ones.get(column[0]), others.get(column[0]), column) for column in columns)
        yield f"{_label(name)}{len(members):5d}{cells}".rstrip()


def comparison_text(before: Run, after: Run, groupings: Sequence[str] = SHOWN) -> str:
    """What changed from one run to another, on the recordings that both have."""
    judged, courses = _paired(before.judged, after.judged), _paired(before.courses, after.courses)
    lines = [
        "before > after (change±its doubt, from pairs); * surely differs (two standard deviations). CRPS: mean, of the",
        f"time left, at most three times it. {len(judged[1])} of {len(before.judged)} and {len(after.judged)} forecasts"
        " are of the same moments.",
    ]
    for checkpoint in CHECKPOINTS:
        ones, others = ([row for row in rows if row.checkpoint == checkpoint] for rows in judged)
        if others:
            lines += _change_table(checkpoint.upper(), COMPARED, (ones, others), groupings, figures_of)
    if courses[1]:
        lines += _change_table("COURSES", COMPARED_COURSES, courses, groupings, course_figures)
    lines += [f"{title}: {_cost(run)}" for title, run in (("before", before), ("after", after)) if run.costs_s]
    return "\n".join(lines) + "\n"


# -- against a forecaster that knows --------------------------------------------------------------------------------


def against_text(run: Run, knowing: Run, groupings: Sequence[str] = SHOWN) -> str:
    """Median errors over those of a forecaster that knows the simulators' equations, on the same moments."""
    judged = _paired(knowing.judged, run.judged)
    lines = [
        "Median error of the forecaster that knows the equations, and the program's over it; coverage of both, 90 %."
    ]
    for checkpoint in CHECKPOINTS:
        ones, others = ([row for row in rows if row.checkpoint == checkpoint] for rows in judged)
        by_name = {row.recording: row for row in ones}
        table = []
        for name, members in _groups(others, groupings):
            known, ours = figures_of([by_name[row.recording] for row in members]), figures_of(members)
            if "error_min" not in known:
                continue
            ratio = known["error_min"].ratio_to(ours["error_min"])
            cells = [
                f"{known['error_min'].value:10.1f}±{known['error_min'].sd:.1f}",
                f"{ratio.value:10.2f}±{ratio.sd:.2f}{'!' if ratio.value > MOST_RATIO else ' '}",
                *(
                    f"{100.0 * each['covers_90'].value:10.0f}±{100.0 * each['covers_90'].sd:.0f}"
                    for each in (known, ours)
                ),
            ]
            table.append(f"{_label(name)}{len(members):5d}" + "".join(f"{cell:>18}" for cell in cells))
        if table:
            heads = ("knowing/min", "program over it", "knowing covers", "program covers")
            lines += ["", f"{checkpoint.upper():{NAMED}}{'n':>5}" + "".join(f"{head:>18}" for head in heads), *table]
    return "\n".join(lines) + "\n"
