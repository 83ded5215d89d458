"""Batches of a recipe beside each other: laid over each other, in a table, over the weeks, and how forecasts held."""

import html
from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from dashboard import page
from dashboard.access import address
from dashboard.compare import sections, words
from dashboard.compare.course import Course, course_of, even_temp_c
from dashboard.compare.selection import (
    IN_ADDRESS,
    MOST_OFFERED,
    MOST_TOLD_APART,
    RecipeStage,
    Selection,
    address_of,
    compared_batches,
    recipe_stages,
    selection_in,
)
from dashboard.drawing import markup
from dashboard.page import View
from monitor.recipe.batch import Batch, BatchId
from monitor.store.store import Store
from monitor.translatable import N_
from monitor.wording.alerts import stage_word

CACHED_COURSES = 400  # ten recipes' newest; some ten kilobytes each


def show() -> None:
    """What the address asks for, or the recipe that was made last."""
    page.render(_draw)


def _draw(view: View) -> None:
    offered, once = recipe_stages(view.store.batches.ended())
    choice = selection_in(st.query_params.to_dict(), offered)
    heading = st.container()
    if offered:
        choice = _chosen_recipe(choice, offered, view)
    if choice is None:
        heading.html(_nothing(once, view, are_others=bool(offered)))
        return
    whole = choice.repeated
    courses = [_course(str(view.store.path), batch, view.store) for batch in compared_batches(choice)]
    names = words.names_of([course.batch for course in courses], view.reader)
    even_c = even_temp_c(courses, view.reader)
    title = f"{whole.name}, {stage_word(whole.stage, view.reader)}"
    n_finished = view.reader.count(len(whole.batches), "{n} finished batch", "{n} finished batches beside each other")
    heading.html(markup.heading(title, n_finished))
    choice = _chosen_batches(choice, names, even_c, view)
    address.write(address_of(choice), IN_ADDRESS)
    shown = [course for course in courses if course.batch.id in choice.batch_ids]
    if shown:
        sections.show_overlay(view, title, shown, names, even_c, is_even=choice.is_even)
        sections.show_table(view, shown, names, even_c)
    else:
        st.html(markup.quiet(view.reader.say("Choose the batches to lay over each other.")))
    sections.show_trend(view, title, courses, even_c)
    sections.show_forecast_results(view, title, courses, names)


@st.cache_resource(max_entries=CACHED_COURSES, ttl=3600, show_spinner="Reading the batches")
def _course(path: str, batch: Batch, _store: Store) -> Course:
    return course_of(batch, _store.outlooks.of(batch.id, has_fan=False), _store.readings.track(batch))


def _nothing(once: Sequence[RecipeStage], view: View, *, are_others: bool) -> str:
    """What is missing for a comparison."""
    say = view.reader.say
    made = ", ".join(f"{each.name} ({stage_word(each.stage, view.reader)})" for each in once)
    so_far = say("Finished once so far: {made}.", made=made) if made else say("Nothing is finished so far.")
    takes = say(
        "It takes two finished batches of one recipe, in the same stage. A batch belongs to the recipe that its file "
        "names, or else to its name up to the first comma."
    )
    title = say("Not finished twice yet") if are_others else say("Nothing to compare yet")
    paragraphs = "".join(f"<p>{html.escape(each)}</p>" for each in (takes, so_far))
    return f'<div class="panel empty"><h2>{html.escape(title)}</h2>{paragraphs}</div>'


def _chosen_recipe(choice: Selection | None, offered: Sequence[RecipeStage], view: View) -> Selection | None:
    by_key = {(each.recipe, each.stage.value): each for each in offered}
    asked = None if choice is None else (choice.repeated.recipe, choice.repeated.stage.value)
    chosen = st.selectbox(
        view.reader.say("Recipe and stage"),
        list(by_key),
        index=None if asked is None else 0,
        format_func=lambda key: f"{by_key[key].name} · {stage_word(by_key[key].stage, view.reader)}",
        key=address.synced_key("recipe", asked),
        placeholder=view.reader.say("Choose a recipe"),
    )
    address.remember("recipe", chosen)
    if chosen is None or chosen == asked:
        return choice
    return selection_in({"recipe": chosen[0], "stage": chosen[1]}, offered)


def _chosen_batches(choice: Selection, names: dict[BatchId, str], even_c: float | None, view: View) -> Selection:
    ids = list(names)
    options = [batch_id for k, batch_id in enumerate(ids) if k < MOST_OFFERED or batch_id in choice.batch_ids]
    asked = [batch_id for batch_id in options if batch_id in choice.batch_ids]
    key = f"batches of {choice.repeated.recipe}, {choice.repeated.stage}"
    picked = st.pills(
        view.reader.say("Batches, {most} at most", most=MOST_TOLD_APART),
        options,
        selection_mode="multi",
        format_func=lambda batch_id: names[batch_id],
        key=address.synced_key(key, asked),
    )
    address.remember(key, picked)
    if len(picked) > MOST_TOLD_APART:
        too_many = N_("{most} at most can be told apart: take one off first.")
        st.toast(view.reader.say(too_many, most=MOST_TOLD_APART))
        st.rerun()
    kept = tuple(batch_id for batch_id in options if batch_id in picked)
    if even_c is None:
        st.html(markup.quiet(view.reader.say("No dough of this recipe was measured for its warmth, nor its air.")))
        return replace(choice, batch_ids=kept, is_even=False)
    clocks = {
        "clock": view.reader.say("by the clock"),
        "even": words.even_words(even_c, view.reader),
    }
    time = st.radio(
        view.reader.say("Time"),
        list(clocks),
        format_func=lambda each: clocks[each],
        horizontal=True,
        key=address.synced_key("time", "even" if choice.is_even else "clock"),
    )
    address.remember("time", time)
    return replace(choice, batch_ids=kept, is_even=time == "even")
