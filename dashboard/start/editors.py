"""What each line of the summary opens: one part of the draft, changed in a touch or two."""

from typing import Literal

import streamlit as st

from dashboard import page
from dashboard.drawing import markup
from dashboard.start import level, tiles, zero
from dashboard.start.bench import Bench
from dashboard.start.templates import USUAL_BAND_PCT
from dashboard.start.vessels import show_new_vessel
from monitor.recipe.batch import Stage, Target
from monitor.recipe.events import PLACES
from monitor.recipe.intent import MEANT_TEMPS_C
from monitor.recipe.toml_tables import LONGEST_NAME
from monitor.translatable import N_
from monitor.wire.readings import NodeId
from monitor.wording.phrases import in_place_text, stage_word

BANDS_PCT = (-10.0, -5.0, 0.0, 5.0, 10.0)
LEAST_PCT, MOST_PCT = 5.0, 400.0
UNNAMED = N_("egg, milk or the like")  # what is kept where no recipe says which
BY_EYE = N_("no sensor: levels read by eye")
NOT_ZEROED = N_(
    "Not set to zero, the sensor tells how warm the dough is, but not how high it stands: its rise is reckoned, not "
    "seen. Set it to zero before the dough is in, or note levels by eye."
)


def name(bench: Bench) -> None:
    """What it is called, and the stage it is in."""
    draft, reader = bench.draft, bench.reader
    typed = st.text_input(reader.say("Name"), value=draft.name, max_chars=LONGEST_NAME, key="edit-name")
    stage = st.selectbox(
        reader.say("Stage"),
        list(Stage),
        index=list(Stage).index(draft.stage),
        format_func=lambda each: stage_word(each, reader),
        key="edit-stage",
    )
    perishes = st.checkbox(
        reader.say("egg, milk or the like in it"), value=bool(draft.perishable), key=f"edit-perishes {draft.like}"
    )
    bench.change(name=typed, stage=stage, perishable=(draft.perishable or (UNNAMED,)) if perishes else ())


def vessel(bench: Bench) -> None:
    """The bakery's vessels to one scale, each a button; and another one."""

    def choose(called: str) -> None:
        bench.change(vessel=called, level_mm=None)

    tiles.show(tiles.of_vessels(bench.vessels, bench.reader), bench.draft.vessel, choose, "vessels", bench.view)
    show_new_vessel(bench.reader)


def target(bench: Bench) -> None:
    """Where the band is to hang, or that it waits for its peak."""
    at_pct = bench.draft.target.rise_pct
    st.html(markup.quiet(bench.reader.say("% risen when it is ready")))
    with st.container(key="bands", horizontal=True, gap="small"):
        for step_pct in BANDS_PCT:
            to_pct = min(max((at_pct or USUAL_BAND_PCT) + step_pct, LEAST_PCT), MOST_PCT)
            kind: Literal["primary", "secondary"] = "primary" if to_pct == at_pct else "secondary"
            wanted = {"target": Target(to_pct)}
            key = f"band {step_pct:g}"
            st.button(f"{to_pct:.0f}", key=key, type=kind, width="stretch", on_click=bench.change, kwargs=wanted)
    st.button(
        bench.reader.say("Wait for its peak instead"),
        key="peak",
        type="primary" if at_pct is None else "secondary",
        width="stretch",
        on_click=bench.change,
        kwargs={"target": Target(None)},
    )


def warmth(bench: Bench) -> None:
    """How warm the dough is meant to be."""
    what = bench.reader.say("Dough wanted")
    bench.change(dough_c=page.temp_input(what, MEANT_TEMPS_C, bench.draft.dough_c, bench.reader, "edit-temp"))


def place(bench: Bench) -> None:
    """Where it stands, by which its air is judged, and whether it is covered."""
    reader, places = bench.reader, [None, *PLACES]
    chosen = st.selectbox(
        reader.say("Where it stands"),
        places,
        index=places.index(bench.draft.place) if bench.draft.place in places else 0,
        format_func=lambda each: reader.say("not said") if each is None else in_place_text(each, reader),
        key="edit-place",
    )
    covered = st.checkbox(reader.say("covered"), value=bench.draft.is_covered, key="edit-covered")
    bench.change(place=chosen, is_covered=covered)


def watcher(bench: Bench) -> None:
    """The sensor that looks at it, set to zero; or where the dough stands now, for somebody to look on."""
    draft, reader = bench.draft, bench.reader
    if bench.sensors:
        names = [BY_EYE, *bench.sensors]
        named = st.selectbox(
            reader.say("Looked at by"),
            names,
            index=0 if draft.node is None else names.index(draft.node),
            format_func=lambda each: reader.say(BY_EYE) if each == BY_EYE else bench.sensors[NodeId(each)],
            key="edit-node",
        )
        node = None if named == BY_EYE else NodeId(named)
        if node != draft.node:
            bench.change(node=node)
            st.rerun()
    if draft.node is not None:
        zero.show_reading(draft.node, draft.vessel, bench.vessel, reader)
        if bench.vessel.sensor_to_base_mm is None:
            st.html(markup.quiet(reader.say(NOT_ZEROED)))
        return
    st.html(markup.note(reader.say("Where is the dough now? Hold a rule against the wall and pull the level there.")))
    key = f"level {draft.like} {draft.vessel}"
    now_mm = level.ask(bench.vessel, draft.level_mm, draft.target.rise_pct, reader, key)
    bench.change(level_mm=now_mm)
