"""Begin a batch: what it is like, what it stands in, which sensor looks at it; set to zero, and go."""

from dataclasses import replace

import streamlit as st
from streamlit.navigation.page import StreamlitPage

from dashboard import actions, page
from dashboard.access import sites
from dashboard.drawing import markup
from dashboard.start import zero
from dashboard.start.templates import (
    USUAL_BAND_PCT,
    Template,
    recipes_at_hand,
    templates,
)
from dashboard.start.vessels import measures, show_new_vessel, vessel_word, vessels_for, vessels_html
from monitor.recipe.batch import DEFAULT_PREHEAT_MIN, Batch, BatchId, Stage, Target
from monitor.recipe.intent import Intent
from monitor.recipe.toml_tables import LONGEST_NAME
from monitor.translatable import N_
from monitor.units import celsius, fahrenheit
from monitor.wire.readings import SENSOR_CHANNELS, Channel, NodeId
from monitor.wording.alerts import stage_word

BY_EYE = N_("no sensor: levels read by eye")
NOT_ZEROED = N_(
    "Not set to zero, the sensor tells how warm the dough is, but not how high it stands: its rise is reckoned, not "
    "seen. Set it to zero before the dough is in, or note levels by eye."
)


def show(batch_page: StreamlitPage) -> None:
    """Four short steps down one page; of a copy only where a batch is begun instead."""
    page.render(lambda view: _draw(view, batch_page))


def _draw(view: page.View, batch_page: StreamlitPage) -> None:
    reader = view.reader
    if view.store.is_copy:
        st.html(markup.heading(reader.say("Start a batch"), sites.copy_words(reader)))
        return
    subtitle = reader.say("What it is, what it stands in, which sensor looks at it. Set to zero, and go.")
    st.html(markup.heading(reader.say("Start a batch"), subtitle))
    recipes, faults = recipes_at_hand(view.store.path.parent)
    offered = templates(view.store.batches.all(), recipes, view.reader, view.now)
    like = offered[st.selectbox(reader.say("Like one before, or by a recipe"), list(offered), key="like")]
    for fault in faults:
        st.html(markup.note(reader.text(fault)))
    batch, dough_c = _what(like, view)
    vessels = vessels_for(view.store.vessels.all(), like.batch if like.has_vessel else None)
    label = reader.say("It stands in")
    vessel_name = st.selectbox(label, list(vessels), format_func=lambda name: vessel_word(name, reader), key="vessel")
    vessel = vessels[vessel_name]
    st.html(vessels_html(vessels, vessel_name, view))
    st.html(f'<p class="quiet">{measures(vessel, view.reader)}</p>')
    show_new_vessel(reader)
    nodes = {row.node.removeprefix("urn:dev:"): row.node for row in view.store.nodes.all()}
    usual = like.batch.node_of(Channel.DISTANCE)
    names = [*nodes, BY_EYE]
    place = next((names.index(name) for name, node in nodes.items() if node == usual), 0)
    node = nodes.get(
        st.selectbox(
            reader.say("Looked at by"),
            names,
            index=place,
            format_func=lambda name: reader.say(BY_EYE) if name == BY_EYE else name,
            key="node",
        )
    )
    vessel = replace(vessel, sensor_to_base_mm=zero.zero_mm(vessel_name, vessel, node))
    if node is not None:
        zero.show_reading(node, vessel_name, vessel, reader)
        if vessel.sensor_to_base_mm is None:
            st.html(markup.quiet(reader.say(NOT_ZEROED)))
    batch = replace(batch, vessel=vessel, nodes=_nodes(like, node), started_at=view.now)
    if st.button(reader.say("Go"), key="go", type="primary", width="stretch", disabled=not batch.name):
        begun = actions.start_batch(batch, Intent(dough_c))
        if begun is not None:
            st.switch_page(batch_page, query_params={"batch": str(begun)})


def _what(like: Template, view: page.View) -> tuple[Batch, float]:
    """Name, stage, target and planned warmth; the rest as the batch it is like."""
    reader = view.reader
    name, stage = st.columns([1.6, 1])
    model = like.batch
    typed = name.text_input(reader.say("Name"), value=model.name, max_chars=LONGEST_NAME, key=f"name-{like.key}")
    stages = list(Stage)
    chosen = stage.selectbox(
        reader.say("Stage"),
        stages,
        index=stages.index(model.stage),
        format_func=lambda each: stage_word(each, view.reader),
        key=f"stage-{like.key}",
    )
    band, warmth = st.columns([1.6, 1], vertical_alignment="bottom")
    usual_pct = USUAL_BAND_PCT if model.target.rise_pct is None else model.target.rise_pct
    wants_peak = warmth.checkbox(reader.say("wait for its peak"), value=model.target.is_peak, key=f"peak-{like.key}")
    label = reader.say("Band at, % risen")
    pct = band.number_input(label, 5.0, 400.0, usual_pct, 5.0, format="%.0f", disabled=wants_peak)
    is_f = view.reader.temp_unit == "F"
    usual = fahrenheit(like.dough_c) if is_f else like.dough_c
    label = reader.say("Dough meant to be, {unit}", unit=f"°{reader.temp_unit}")
    temp = st.number_input(label, 0.0, 110.0, usual, 0.5, format="%.1f")
    usual_preheat = DEFAULT_PREHEAT_MIN if chosen is Stage.FINAL_PROOF else None
    new = Batch(
        BatchId(0),
        typed.strip(),
        chosen,
        view.now,
        model.vessel,
        Target(None if wants_peak else float(pct)),
        formula=model.formula,
        recipe=model.recipe,
        preheat_min=model.preheat_min if model.stage is chosen else usual_preheat,
        events=() if model.id else model.events,  # a recipe may begin in the refrigerator
    )
    return new, celsius(temp) if is_f else float(temp)


def _nodes(like: Template, node: NodeId | None) -> tuple[tuple[Channel, NodeId], ...]:
    """The channels as the batch it is like has them, when that node looks at it again; else all from the one node."""
    if node is None:
        return ()
    if like.batch.node_of(Channel.DISTANCE) == node:
        return like.batch.nodes
    return tuple((channel, node) for channel in SENSOR_CHANNELS)
