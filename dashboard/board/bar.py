"""The dark bar: the next things for hands, each with the one button that answers it, and the clock."""

import html
from datetime import datetime

import streamlit as st

from dashboard import actions, page
from dashboard.board.hands import DoughTask, PlanTask, Task
from dashboard.drawing import markup
from dashboard.page import View
from dashboard.plans import parted
from monitor.dough.tasks import Do
from monitor.plan.day import PlanId, first_step_key
from monitor.translatable import N_
from monitor.wording.outlook import do_words
from monitor.wording.phrases import printable
from monitor.wording.plan import done_word, step_text
from monitor.wording.reader import Reader
from monitor.wording.times import clock_text, date_words

MOST_ROWS = 3


def show(tasks: list[Task], plan_id: PlanId | None, view: View) -> None:
    """At most three things to do, how many come after, and the time."""
    with st.container(key=f"bar{view.site}", gap="small"):
        st.html(_clock(tasks, view))
        if not tasks:
            st.html(f'<p class="due">{html.escape(view.reader.say("Nothing for hands to do."))}</p>')
        for number, task in enumerate(tasks[:MOST_ROWS]):
            with st.container(key=f"due{number}{view.site}", horizontal=True, vertical_alignment="center"):
                st.html(row_html(task, view.reader, view.now), width="stretch")
                if not view.store.is_copy:
                    _button(task, plan_id, number, view.reader)


def _clock(tasks: list[Task], view: View) -> str:
    """The hour, its day or what kind of clock it is, and what comes after the rows."""
    small = page.clock_words(view.speed, view.reader) or date_words(view.now, view.reader)
    later = tasks[MOST_ROWS:]
    after = ""
    if later:
        at = clock_text(later[0].at, view.reader, view.now)
        after = view.reader.count(len(later), "then {n} more, {at}", "then {n} more, the next {at}", at=at)
    hour = html.escape(clock_text(view.now, view.reader))
    return (
        f'<div class="clock">{hour}<small>{html.escape(small)}</small></div><p class="after">{html.escape(after)}</p>'
    )


def when_words(task: Task, reader: Reader, now: datetime) -> str:
    """``Now, since 18:30``, or the hour."""
    at = clock_text(task.at, reader, now)
    return reader.say("Now, since {at}", at=at) if task.is_now else at


def what_words(task: Task, reader: Reader, now: datetime) -> tuple[str, str]:
    """What is to be done, and at which dough: ``("oven on", "Barley rolls")``."""
    match task:
        case DoughTask():
            return do_words(task.do, task.batch.stage, reader), task.batch.name
        case PlanTask():
            about = printable(task.dough.recipe.name)
            if task.step.not_after is not None:
                until = clock_text(task.step.not_after, reader, now)
                about = reader.say("{dough}; by {at} at the latest", dough=about, at=until)
            what, more = parted(step_text(task.dough, task.step, reader))
            return what, f"{about}; {more}" if more else about


def row_html(task: Task, reader: Reader, now: datetime) -> str:
    """When, what and at which dough; names may be anything."""
    what, about = what_words(task, reader, now)
    kind = "due now" if task.is_now else "due"
    return (
        f'<p class="{kind}"><b>{html.escape(when_words(task, reader, now))}</b>'
        f"<span>{html.escape(what[:1].upper() + what[1:])} <small>{html.escape(about)}</small></span></p>"
    )


def _button(task: Task, plan_id: PlanId | None, number: int, reader: Reader) -> None:
    """The one answer to a task; none where there is nothing to answer yet."""
    match task:
        case DoughTask(do=Do.FOLD, alerts=(alert,)):
            label = reader.say("Folded")
            st.button(label, key=f"answer-{number}-{alert}", on_click=actions.confirm_fold, args=(alert,))
        case DoughTask(alerts=alerts) if alerts:
            label = reader.say(N_("Oven is on") if task.do is Do.OVEN_ON else N_("Seen"))
            st.button(label, key=f"answer-{number}-{alerts[0]}", on_click=actions.acknowledge, args=alerts)
        case PlanTask(can_be_done=True) if plan_id is not None:
            step, label = task.step, markup.plain(done_word(task.step.kind, reader))
            stage = None if step.stage is None else task.dough.stages[step.stage]
            key = f"answer-{number}-{step.key}"
            if stage is not None and step.key == first_step_key(task.dough, stage):
                st.button(label, key=key, on_click=actions.begin_stage, args=(plan_id, step.dough, step.stage))
            else:
                words = step_text(task.dough, step, reader)
                st.button(label, key=key, on_click=actions.mark_done, args=(plan_id, step.key, words))
        case _:
            pass
