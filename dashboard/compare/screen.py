"""Batches of a recipe beside each other: laid over each other, in a table, over the weeks, and how forecasts held."""

import html
from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from dashboard import page
from dashboard.access import address
from dashboard.compare import comparison, plots, queries, words
from dashboard.compare.comparison import MOST_OFFERED, MOST_TOLD_APART, Choice, Repeated
from monitor.recipe.batch import BatchId
from monitor.translatable import N_
from monitor.wording.alerts import stage_word


def show() -> None:
    """What the address asks for, or the recipe that was made last."""
    page.shown(_draw)


def _draw(scene: page.Scene) -> None:
    offered, once = comparison.repeated(scene.store.batches(running=False))
    choice = comparison.asked(st.query_params.to_dict(), offered)
    heading = st.container()
    if offered:
        choice = _chosen_recipe(choice, offered, scene)
    if choice is None:
        heading.html(_nothing(once, scene, are_others=bool(offered)))
        return
    whole = choice.repeated
    courses = queries.courses(comparison.looked_at(choice))
    names = words.names_of([course.batch for course in courses], scene.reader)
    even_c = comparison.even_temp_c(courses, scene.reader.temp_unit)
    title = f"{whole.name}, {stage_word(whole.stage, scene.reader)}"
    n_finished = scene.reader.count(len(whole.batches), "{n} finished batch", "{n} finished batches beside each other")
    heading.html(page.heading(title, n_finished))
    choice = _chosen_batches(choice, names, even_c, scene)
    address.write(comparison.address_of(choice), comparison.IN_ADDRESS)
    shown = [course for course in courses if course.batch.id in choice.batch_ids]
    if shown:
        plots.put_overlay(scene, title, shown, names, even_c, is_even=choice.is_even)
        plots.put_figures(scene, shown, names, even_c)
    else:
        st.html(page.quiet(scene.reader.say("Choose the batches to lay over each other.")))
    plots.put_trend(scene, title, courses, even_c)
    plots.put_kept(scene, title, courses, names)


def _nothing(once: Sequence[Repeated], scene: page.Scene, *, are_others: bool) -> str:
    """What is missing for a comparison."""
    say = scene.reader.say
    made = ", ".join(f"{each.name} ({stage_word(each.stage, scene.reader)})" for each in once)
    so_far = say("Finished once so far: {made}.", made=made) if made else say("Nothing is finished so far.")
    takes = say(
        "It takes two finished batches of one recipe, in the same stage. A batch belongs to the recipe that its file "
        "names, or else to its name up to the first comma."
    )
    title = say("Not finished twice yet") if are_others else say("Nothing to compare yet")
    paragraphs = "".join(f"<p>{html.escape(each)}</p>" for each in (takes, so_far))
    return f'<div class="panel empty"><h2>{html.escape(title)}</h2>{paragraphs}</div>'


def _chosen_recipe(choice: Choice | None, offered: Sequence[Repeated], scene: page.Scene) -> Choice | None:
    by_key = {(each.recipe, each.stage.value): each for each in offered}
    asked = None if choice is None else (choice.repeated.recipe, choice.repeated.stage.value)
    chosen = st.selectbox(
        scene.reader.say("Recipe and stage"),
        list(by_key),
        index=None if asked is None else 0,
        format_func=lambda key: f"{by_key[key].name} · {stage_word(by_key[key].stage, scene.reader)}",
        key=address.follows("recipe", asked),
        placeholder=scene.reader.say("Choose a recipe"),
    )
    address.told("recipe", chosen)
    if chosen is None or chosen == asked:
        return choice
    return comparison.asked({"recipe": chosen[0], "stage": chosen[1]}, offered)


def _chosen_batches(choice: Choice, names: dict[BatchId, str], even_c: float | None, scene: page.Scene) -> Choice:
    ids = list(names)
    options = [batch_id for k, batch_id in enumerate(ids) if k < MOST_OFFERED or batch_id in choice.batch_ids]
    asked = [batch_id for batch_id in options if batch_id in choice.batch_ids]
    key = f"batches of {choice.repeated.recipe}, {choice.repeated.stage}"
    picked = st.pills(
        scene.reader.say("Batches, {most} at most", most=MOST_TOLD_APART),
        options,
        selection_mode="multi",
        format_func=lambda batch_id: names[batch_id],
        key=address.follows(key, asked),
    )
    address.told(key, picked)
    if len(picked) > MOST_TOLD_APART:
        too_many = N_("{most} at most can be told apart: take one off first.")
        st.toast(scene.reader.say(too_many, most=MOST_TOLD_APART))
        st.rerun()
    kept = tuple(batch_id for batch_id in options if batch_id in picked)
    if even_c is None:
        st.html(page.quiet(scene.reader.say("No dough of this recipe was measured for its warmth, nor its air.")))
        return replace(choice, batch_ids=kept, is_even=False)
    said = {
        "clock": scene.reader.say("by the clock"),
        "even": words.even_words(even_c, scene.reader),
    }
    time = st.radio(
        scene.reader.say("Time"),
        list(said),
        format_func=lambda each: said[each],
        horizontal=True,
        key=address.follows("time", "even" if choice.is_even else "clock"),
    )
    address.told("time", time)
    return replace(choice, batch_ids=kept, is_even=time == "even")
