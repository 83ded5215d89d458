"""Another hour for what is still to come of a plan: a nudge, what would follow from it, and only then a yes.

By buttons and not by dragging: the solver takes a second or two, so nothing could follow a finger, and a quarter of an
hour is hit with floury hands.
"""

import html
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import streamlit as st

from dashboard import actions, queries
from dashboard.access import preferences
from dashboard.drawing import markup
from dashboard.page import View
from dashboard.plans import current_plan
from monitor.collector.plan_runner import LivePlan, StageForecasts, live_plan, order_of
from monitor.errors import MonitorError, message_of_error
from monitor.plan.begun import begun_of
from monitor.plan.day import Plan, PlanId, StepKind, steps_of
from monitor.plan.orders import Order
from monitor.plan.steps import steps
from monitor.store.pace import clock_of
from monitor.store.store import Store
from monitor.wording.no_plan import no_plan_lines
from monitor.wording.phrases import printable
from monitor.wording.plan import step_text
from monitor.wording.reader import Reader
from monitor.wording.times import clock_in_line, clock_text

NUDGE_MIN = 15
_TRIED = "another hour that was tried"


@dataclass(frozen=True, slots=True)
class Hour:
    """An hour of a plan: a dough's when it is out, or when hands begin on one of its stages."""

    dough: str
    stage: int | None = None


@dataclass(frozen=True, slots=True)
class Tried:
    """An hour moved by some minutes, and what comes of it: another plan, or in sentences why there is none."""

    plan_id: PlanId
    hour: Hour
    minutes: int
    found: Plan | None
    lines: tuple[str, ...] = ()


def show(view: View) -> None:
    """The hours that can be moved, and what would follow from the last nudge."""
    live = current_plan(view.store, view.now)
    if live is None or view.store.is_copy:
        return
    say = view.reader.say
    with st.expander(say("Another hour"), key="plan-move", type="compact"):
        begun = [begun_of(dough, live.progress, view.now) for dough in live.now.doughs]
        hours = [
            hour
            for each in begun
            if not each.loads
            for hour in (
                Hour(each.dough.key),
                *(Hour(each.dough.key, n) for n in range(len(each.dough.stages)) if n not in each.stages),
            )
        ]
        if not hours:
            st.html(markup.quiet(say("Everything is in the oven, or out of it.")))
            return
        hour = st.selectbox(
            say("Which hour"), hours, format_func=lambda each: _hour_words(each, live, view.reader, view.now)
        )
        with st.container(horizontal=True, key="nudges"):
            for minutes, words in ((-NUDGE_MIN, say("15 min earlier")), (NUDGE_MIN, say("15 min later"))):
                st.button(words, key=f"nudge-{minutes}", on_click=_nudge, args=(live.made.id, hour, minutes))
        tried: Tried | None = st.session_state.get(_TRIED)
        if tried is not None and (tried.plan_id, tried.hour) == (live.made.id, hour):
            _show_tried(tried, live, view)


def _show_tried(tried: Tried, live: LivePlan, view: View) -> None:
    for line in tried.lines:
        st.html(f'<p class="note">{html.escape(line)}</p>')
    with st.container(horizontal=True, key="nudged"):
        if tried.found is not None:
            st.button(view.reader.say("Keep it"), key="keep-hour", type="primary", on_click=_keep, args=(tried,))
        st.button(view.reader.say("Leave it as it was"), key="leave-hour", on_click=_forget)
    if tried.found is not None:
        st.html(_follows(live.now, tried.found, view.reader, view.now))


def _hour_words(hour: Hour, live: LivePlan, reader: Reader, now: datetime) -> str:
    dough = live.now.dough(hour.dough)
    name = printable(dough.recipe.name)
    if hour.stage is None:
        return reader.say("{dough} out {at}", dough=name, at=clock_text(dough.out_at, reader, now))
    step = next(each for each in steps_of(dough) if each.stage == hour.stage)
    return f"{name}: {step_text(dough, step, reader)}, {clock_text(step.at, reader, now)}"


def _follows(now_planned: Plan, found: Plan, reader: Reader, now: datetime) -> str:
    """The steps that would move, with their hour before and after."""
    before = {step.key: step.at for step in steps(now_planned)}
    rows = []
    for step in steps(found):
        was = before.get(step.key, step.at)
        if step.kind is StepKind.STEAM or abs(step.at - was) < timedelta(minutes=1):  # steam goes with its load
            continue
        dough = found.dough(step.dough)
        who = f"{printable(dough.recipe.name)}: " if len(found.doughs) > 1 else ""
        rows.append(
            f'<tr><td class="n old">{html.escape(clock_text(was, reader, now))}</td>'
            f'<td class="n">{html.escape(clock_in_line(step.at, was, reader, now))}</td>'
            f"<td>{html.escape(who + step_text(dough, step, reader))}</td></tr>"
        )
    head = "".join(f'<th class="n">{html.escape(words)}</th>' for words in (reader.say("was"), reader.say("then")))
    return f'<table class="rows"><tr>{head}<th></th></tr>{"".join(rows)}</table>'


def _nudge(plan_id: PlanId, hour: Hour, minutes: int) -> None:
    """Move an hour on from where the last nudge has left it, and see what follows."""
    last: Tried | None = st.session_state.get(_TRIED)
    if last is not None and (last.plan_id, last.hour) == (plan_id, hour):
        minutes += last.minutes
    st.session_state[_TRIED] = _tried(plan_id, hour, minutes) if minutes else None


def _tried(plan_id: PlanId, hour: Hour, minutes: int) -> Tried:
    from monitor.plan.rest import rest_planned  # loading the solver takes a second

    reader = preferences.reader(queries.database().parent)
    with queries.opened() as store:
        now = clock_of(store).now()
        live = live_plan(store, store.plans.get(plan_id), now, StageForecasts(store))
        orders = moved_orders(store, live.now, hour, timedelta(minutes=minutes))
        try:
            found = rest_planned(live.now, live.progress, orders, live.made.kitchen, reader.zone, now)
        except ValueError as error:
            return Tried(plan_id, hour, minutes, None, (reader.text(message_of_error(error)),))
        except MonitorError as error:
            return Tried(plan_id, hour, minutes, None, (reader.text(error),))
    if isinstance(found, Plan):
        return Tried(plan_id, hour, minutes, found)
    recipes = {key: order.recipe for key, order in orders.items()}
    return Tried(plan_id, hour, minutes, None, tuple(no_plan_lines(found, recipes, reader, now)))


def moved_orders(store: Store, planned: Plan, hour: Hour, shift: timedelta) -> dict[str, Order]:
    """What is wanted of a plan, by dough, with one hour moved; a dough whose hour nobody named stays where it is."""
    orders = {}
    for dough in planned.doughs:
        # what runs late already is wanted when it can be
        wanted_at = dough.out_at if dough.wanted_at is None else max(dough.wanted_at, dough.out_at)
        order = order_of(store, dough.recipe, wanted_at)
        if dough.key == hour.dough and hour.stage is None:
            order = replace(order, wanted_at=dough.out_at + shift)
        elif dough.key == hour.dough and hour.stage is not None:
            hands_at = dough.stages[hour.stage].hands_at + shift
            order = replace(order, wanted_at=dough.wanted_at, held=((hour.stage, hands_at),))
        orders[dough.key] = order
    return orders


def _keep(tried: Tried) -> None:
    assert tried.found is not None
    actions.replace_plan(tried.plan_id, tried.found)
    _forget()


def _forget() -> None:
    st.session_state.pop(_TRIED, None)
