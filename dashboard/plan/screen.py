"""The planned day and its bake: what hands do next, the day on one clock, the rest load by load, and another plan."""

import html
from datetime import timedelta

import streamlit as st

from dashboard import alerts, figures, page, queries
from dashboard.access import preferences
from dashboard.drawing import markup
from dashboard.page import View
from dashboard.plan import answers, form, moving, pictures, steps
from dashboard.plan.drawings import load_numbers
from dashboard.plans import current_plan
from monitor.collector.plan_runner import LivePlan, food_words
from monitor.plan.causes import causes_of
from monitor.plan.live import largest_air_difference
from monitor.plan.remarks import Remark, early_breads, nobody_there
from monitor.plan.steps import with_folds
from monitor.wording.cues import cause_sentence, planned_air_sentence
from monitor.wording.plan import out_sentence, recovery_sentences, remark_sentence, window_sentence
from monitor.wording.times import clock_text, duration_text

LEAST_MOVED = timedelta(minutes=steps.LEAST_MOVED_MIN)


def show() -> None:
    """The newest plan, looked at again every few seconds; below it, the way to a new one."""
    reader = preferences.reader(queries.database().parent)

    @page.live()
    def live() -> None:
        page.render(_draw)

    live()
    answers.ask_early(reader)
    page.render(figures.show_live_downloads)
    with st.container(key="not-on-paper"):
        page.render(moving.show)
        page.render(form.show)


def _draw(view: View) -> None:
    live = current_plan(view.store, view.now)
    if live is None:
        _draw_none(view)
        return
    numbers = load_numbers(live.now)
    with st.container(key="planned"):
        with st.container(key="plan-head", gap="small"):
            st.html(alerts.unwatched_html(view) + markup.heading(_title(live, view), _moved_words(live, view)))
            for words in _remarks(live, view):
                st.html(f'<p class="note">{html.escape(words)}</p>')
        with st.container(key="plan-next", gap="small"):
            steps.show_next(live, view)
        with st.container(key="plan-day"):
            st.html(pictures.day_html(live, numbers, view))
        with st.container(key="plan-rest", gap="small"):
            steps.show_rest(live, numbers, view)
            st.html("".join(markup.quiet(words) for words in _sentences(live, view)))
    st.html(f'<div class="on-paper">{steps.step_table(live, with_folds(live.now), view)}</div>')
    figures.keep(pictures.day_figure(live, view), "day")


def _draw_none(view: View) -> None:
    subtitle = view.reader.say("The day backwards from the hour it must be out of the oven, moved by the dough.")
    st.html(markup.heading(view.reader.say("Plan"), subtitle))
    title = html.escape(view.reader.say("No plan for today"))
    if view.store.is_copy:
        st.html(f'<div class="panel empty"><h2>{title}</h2></div>')
        return
    hint = html.escape(view.reader.say("Make one below, or with this command:"))
    st.html(
        f'<div class="panel empty"><h2>{title}</h2><p>{hint} '
        "<code>proofing-monitor plan make RECIPE.toml --out 12:30</code></p></div>"
    )


def _title(live: LivePlan, view: View) -> str:
    """When the last of it is out, or ready."""
    last = max(live.now.doughs, key=lambda dough: dough.out_at)
    at = clock_text(last.out_at, view.reader, view.now)
    return view.reader.say("The last out {at}", at=at) if last.loads else view.reader.say("The last ready {at}", at=at)


def _moved_words(live: LivePlan, view: View) -> str:
    """How far that is from what was planned, and why."""
    reader = view.reader
    last = max(live.now.doughs, key=lambda dough: dough.out_at)
    planned = live.made.dough(last.key)
    shift = last.out_at - planned.out_at
    made_at = clock_text(live.made.made_at, reader, view.now)
    if abs(shift) < LEAST_MOVED:
        return reader.say("As planned {at}", at=made_at)
    time = duration_text(abs(shift).total_seconds() / 60.0)
    if shift > timedelta():
        words = reader.say("{time} later than planned {at}.", time=time, at=made_at)
    else:
        words = reader.say("{time} earlier than planned {at}.", time=time, at=made_at)
    airs = {each.name: each.temp_c for each in live.made.kitchen.all_places}
    return " ".join([words, *(cause_sentence(last, each, reader) for each in causes_of(planned, last, airs, shift))])


def _remarks(live: LivePlan, view: View) -> list[str]:
    """What is to be known before all else: bread far too early, hands when nobody is there, air not as planned with."""
    alone = nobody_there(steps.open_steps(live), live.now.kitchen, view.reader.zone)
    first: tuple[Remark, ...] = (*early_breads(live.now), *alone)
    found = [remark_sentence(each, live.now, view.reader, view.now) for each in first]
    air = largest_air_difference(live.made, live.progress)
    return found if air is None else [*found, planned_air_sentence(air, view.reader)]


def _sentences(live: LivePlan, view: View) -> list[str]:
    """What ovens need between loads; when each dough is out, its doubt, how long its loads are good, how long warm."""
    found = [*recovery_sentences(live.now, view.reader)]
    for dough in live.now.doughs:
        found += [
            out_sentence(dough, view.reader, view.now),
            window_sentence(dough, view.reader, view.now),
            food_words(view.store, live, dough, view.reader),
        ]
    return [words for words in found if words]
