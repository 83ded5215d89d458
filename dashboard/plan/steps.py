"""What hands do in a planned day: the next three steps large, each with its button, and the rest folded by load."""

import html
from collections.abc import Iterable
from datetime import timedelta

import streamlit as st

from dashboard.drawing import markup
from dashboard.page import View
from dashboard.plan import answers
from dashboard.plan.drawings import LoadNumbers
from dashboard.plans import parted
from monitor.collector.plan_runner import LivePlan
from monitor.plan.cues import is_done
from monitor.plan.day import LoadPlan, Step, StepKind
from monitor.plan.steps import FoldDue, steps, with_folds
from monitor.wording.phrases import printable
from monitor.wording.plan import fold_text, step_text
from monitor.wording.reader import Reader
from monitor.wording.times import clock_in_line, clock_text, day_word, duration_text, hour_text, to_minute

MOST = 3
LEAST_MOVED_MIN = 2  # a plan is made in whole minutes
COUNTED_S = 3600.0  # within an hour every second is told


def open_steps(live: LivePlan) -> list[Step]:
    """The steps that are not done, by the clock."""
    return [step for step in steps(live.now) if not is_done(live.now.dough(step.dough), step, live.progress)]


def show_next(live: LivePlan, view: View) -> None:
    """The next three steps, and after them whatever else could be begun."""
    waiting = open_steps(live)
    st.html(markup.section(view.reader.say("Next")))
    if not waiting:
        st.html(markup.quiet(view.reader.say("Nothing for hands to do.")))
    for step in waiting[:MOST]:
        _show_step(live, step, view)
    if beginnings := [step for step in waiting[MOST:] if _can_begin(live, step)]:
        with st.expander(view.reader.say("What else can begin"), key="plan-else", type="compact"):
            for step in beginnings:
                _show_step(live, step, view)


def _can_begin(live: LivePlan, step: Step) -> bool:
    dough = live.now.dough(step.dough)
    return answers.begins(dough, step) and answers.can_be_done(live, dough, step)


def _show_step(live: LivePlan, step: Step, view: View) -> None:
    dough = live.now.dough(step.dough)
    with st.container(key=f"step-{step.key}", horizontal=True, vertical_alignment="center"):
        st.html(step_html(live, step, view), width="stretch")
        if not view.store.is_copy and answers.can_be_done(live, dough, step):
            answers.show(live, dough, step, view)


def step_html(live: LivePlan, step: Step, view: View) -> str:
    """A step's hour, what it is, at which dough, how long to go, and until when at the latest."""
    dough, reader, now = live.now.dough(step.dough), view.reader, view.now
    what, more = parted(step_text(dough, step, reader))
    small = [html.escape(words) for words in (printable(dough.recipe.name), more) if words] + [_to_go(step, view)]
    if step.not_after is not None:
        latest = clock_in_line(step.not_after, step.at, reader, now)
        small.append(html.escape(reader.say("by {at} at the latest", at=latest)))
    hour = clock_text(step.at, reader)
    day = clock_text(step.at, reader, now).removesuffix(hour).strip()
    return (
        f'<p class="step{" now" if step.at <= now else ""}"><b><small>{html.escape(day)}</small>{html.escape(hour)}</b>'
        f"<span>{html.escape(what)} <small>{'; '.join(small)}</small></span></p>"
    )


def _to_go(step: Step, view: View) -> str:
    reader, seconds = view.reader, (step.at - view.now).total_seconds()
    time = duration_text(abs(seconds) / 60.0) if abs(seconds) >= COUNTED_S else countdown_words(seconds)
    words = reader.say("late by {time}", time=time) if seconds < 0.0 else reader.say("in {time}", time=time)
    return f'<span class="countdown">{html.escape(words)}</span>'


def countdown_words(seconds: float) -> str:
    """Time to go, or gone by, in minutes and seconds.

    >>> countdown_words(754.0), countdown_words(-61.0)
    ('12:34', '1:01')
    """
    minutes, left = divmod(round(abs(seconds)), 60)
    return f"{minutes}:{left:02d}"


def show_rest(live: LivePlan, numbers: LoadNumbers, view: View) -> None:
    """All steps folded: up to the oven, load by load, and what is done."""
    say, reader, now = view.reader.say, view.reader, view.now
    waiting = open_steps(live)
    keys = {step.key for step in waiting}
    done = [step for step in steps(live.now) if step.key not in keys]
    st.html(markup.section(say("Then, load by load")))
    if before := [each for each in with_folds(live.now) if _is_before_oven(each, keys, view)]:
        at = clock_text(before[0].at, reader, now)
        words = reader.count(
            len(before), "Up to the oven: {n} step, {at}", "Up to the oven: {n} steps from {at}", at=at
        )
        _fold("before", words, before, live, view)
    loads = [(dough, load) for dough in live.now.doughs for load in dough.loads]
    for dough, load in sorted(loads, key=lambda each: numbers[each[0].key, each[1].number]):
        mine = [step for step in waiting if step.dough == dough.key and (step.load or 1) == load.number]
        mine = [step for step in mine if step.stage is None]
        if mine:
            number = numbers[dough.key, load.number]
            who = printable(dough.recipe.name)
            words = say("{n}: {dough}, {what}", n=number, dough=who, what=_load_words(load, mine, reader, view))
            _fold(f"load-{number}", words, mine, live, view)
    if done:
        words = reader.count(len(done), "Done: {n} step", "Done: {n} steps")
        _fold("over", words, done, live, view)


def _is_before_oven(each: Step | FoldDue, waiting: set[str], view: View) -> bool:
    """True for what is still to be done up to the oven; what was folded a batch knows, and no plan."""
    if isinstance(each, FoldDue):
        return each.at >= view.now
    return each.key in waiting and each.load is None and each.stage is not None


def _load_words(load: LoadPlan, mine: list[Step], reader: Reader, view: View) -> str:
    """``in 06:05, steam 3 times, out 06:30``."""
    in_at = clock_text(load.in_at, reader, view.now)
    out_at = clock_in_line(load.out_at, load.in_at, reader, view.now)
    steam = sum(step.kind is StepKind.STEAM for step in mine)
    if not steam:
        return reader.say("in {in_at}, out {out_at}", in_at=in_at, out_at=out_at)
    return reader.count(
        steam, "in {in_at}, steam once, out {out_at}", "in {in_at}, steam {n} times, out {out_at}",
        in_at=in_at, out_at=out_at,
    )  # fmt: skip


def _fold(key: str, words: str, mine: Iterable[Step | FoldDue], live: LivePlan, view: View) -> None:
    with st.expander(markup.plain(words), key=f"plan-{key}", type="compact"):
        st.html(step_table(live, mine, view))


def step_table(live: LivePlan, shown: Iterable[Step | FoldDue], view: View) -> str:
    """Steps and folds with their times as they are now, by days, and how far that is from the plan."""
    planned = {step.key: step.at for step in steps(live.made)}
    has_many = len(live.now.doughs) > 1
    rows = []
    day = view.now.astimezone(view.reader.zone).date()
    for step in shown:
        dough = live.now.dough(step.dough)
        local = to_minute(step.at).astimezone(view.reader.zone)
        if local.date() != day:
            day = local.date()
            rows.append(f'<tr><th colspan="2">{html.escape(day_word(local, view.reader))}</th></tr>')
        is_ticked = isinstance(step, Step) and is_done(dough, step, live.progress)
        notes = [view.reader.say("done")] if is_ticked else []
        if isinstance(step, Step) and not is_ticked:
            notes = _notes(step, step.at - planned.get(step.key, step.at), view)
        words = step_text(dough, step, view.reader) if isinstance(step, Step) else fold_text(step, view.reader)
        who = f"{printable(dough.recipe.name)}: " if has_many else ""
        small = f' <span class="quiet">{html.escape("; ".join(notes))}</span>' if notes else ""
        rows.append(
            f'<tr class="{"old" if is_ticked else ""}"><td class="n">{html.escape(hour_text(local, view.reader))}</td>'
            f"<td>{html.escape(who + words)}{small}</td></tr>"
        )
    return f'<table class="rows">{"".join(rows)}</table>'


def _notes(step: Step, moved: timedelta, view: View) -> list[str]:
    """How far a step is from the plan, and how long what goes into the oven stays good."""
    reader = view.reader
    minutes = round(moved.total_seconds() / 60.0)
    notes = []
    if abs(minutes) >= LEAST_MOVED_MIN:
        time = duration_text(abs(minutes))
        notes.append(reader.say("{time} later", time=time) if minutes > 0 else reader.say("{time} earlier", time=time))
    if step.kind is StepKind.LOAD and step.not_after is not None:
        at = clock_in_line(step.not_after, step.at, reader, view.now)
        notes.append(reader.say("good until {at}", at=at))
    return notes
