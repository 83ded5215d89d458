"""Begin a batch: what it is like, what it stands in, which node looks at it; tare, and go."""

from dataclasses import replace

import streamlit as st
from streamlit.navigation.page import StreamlitPage

from dashboard import actions, page, queries
from dashboard.starting import NEW, likes, measures, reading_words, shelf_html, tare_mm, vessels_of
from monitor.bakery.wording import stage_word
from monitor.recipe.batch import DEFAULT_PREHEAT_MIN, Batch, BatchId, Stage, Target
from monitor.recipe.intent import USUAL_DOUGH_TEMP_C, Intent
from monitor.recipe.tables import LONGEST_NAME
from monitor.recipe.vessel import Shape, Vessel
from monitor.sinks.shelf import Shelf
from monitor.units import celsius, fahrenheit
from monitor.wire.readings import Channel, NodeId

BY_EYE = "no node: levels read by eye"
SEEN_BY = (Channel.AIR_TEMP, Channel.HUMIDITY, Channel.DOUGH_TEMP, Channel.DISTANCE)


def show(batch_page: StreamlitPage) -> None:
    """Four short steps down one page."""
    st.html(page.heading("Start a batch", "What it is, what it stands in, which node looks at it. Tare, and go."))
    page.shown(lambda scene: _draw(scene, batch_page))


def _draw(scene: page.Scene, batch_page: StreamlitPage) -> None:
    offered = likes(scene.store.batches(), scene.manner)
    like = offered[st.selectbox("Like", list(offered), key="like")]
    made = _what(like, scene)
    with queries.opened_as(Shelf) as store:
        vessels = vessels_of(store, like)
        vessel_name = st.selectbox("It stands in", list(vessels), key="vessel")
    vessel = vessels[vessel_name]
    st.html(shelf_html(vessels, vessel_name, scene))
    st.html(f'<p class="quiet">{measures(vessel)}</p>')
    _another_vessel()
    nodes = {row.node.removeprefix("urn:dev:"): row.node for row in scene.store.nodes()}
    usual = None if like is None else like.node_of(Channel.DISTANCE)
    names = [*nodes, BY_EYE]
    place = next((names.index(name) for name, node in nodes.items() if node == usual), 0)
    node = nodes.get(st.selectbox("Looked at by", names, index=place, key="node"))
    vessel = replace(vessel, sensor_to_base_mm=_tared_mm(vessel_name, vessel, node))
    if node is not None:
        _live_reading(node, vessel_name, vessel)
    batch, dough_c = made
    batch = replace(batch, vessel=vessel, nodes=_nodes(like, node), started_at=scene.now)
    if st.button("Go", key="go", type="primary", width="stretch", disabled=not batch.name):
        begun = actions.begin(batch, Intent(dough_c))
        if begun is not None:
            st.switch_page(batch_page, query_params={"batch": str(begun)})


def _what(like: Batch | None, scene: page.Scene) -> tuple[Batch, float]:
    """Name, stage, target and planned warmth; the rest as the batch it is like."""
    name, stage = st.columns([1.6, 1])
    said = name.text_input(
        "Name", value="" if like is None else like.name, max_chars=LONGEST_NAME, key=f"name-{_of(like)}"
    )
    stages = list(Stage)
    at = stages.index(Stage.BULK_RISE if like is None else like.stage)
    chosen = stage.selectbox(
        "Stage",
        stages,
        index=at,
        format_func=lambda each: stage_word(each, scene.manner),
        key=f"stage-{_of(like)}",
    )
    band, warmth = st.columns([1.6, 1], vertical_alignment="bottom")
    usual_pct = 75.0 if like is None or like.target.rise_pct is None else like.target.rise_pct
    wants_peak = warmth.checkbox(
        "wait for its peak", value=like is not None and like.target.is_peak, key=f"peak-{_of(like)}"
    )
    pct = band.number_input("Band at, % risen", 5.0, 400.0, usual_pct, 5.0, format="%.0f", disabled=wants_peak)
    is_f = scene.manner.temp_unit == "F"
    usual = fahrenheit(USUAL_DOUGH_TEMP_C) if is_f else USUAL_DOUGH_TEMP_C
    temp = st.number_input(f"Dough meant to be, °{scene.manner.temp_unit}", 0.0, 110.0, usual, 0.5, format="%.1f")
    preheat = DEFAULT_PREHEAT_MIN if chosen is Stage.FINAL_PROOF else None
    target = Target(None if wants_peak else float(pct))
    blank = Vessel(Shape.ROUND, (1.0, 1.0), (1.0, 1.0), 1.0)
    new = Batch(BatchId(0), said.strip(), chosen, scene.now, blank, target, preheat_min=preheat)
    if like is not None:
        new = replace(
            new,
            formula=like.formula,
            recipe=like.recipe,
            preheat_min=like.preheat_min if like.stage is chosen else preheat,
        )
    return new, celsius(temp) if is_f else float(temp)


def _of(like: Batch | None) -> str:
    return NEW if like is None else str(like.id)


def _nodes(like: Batch | None, node: NodeId | None) -> tuple[tuple[Channel, NodeId], ...]:
    """The channels as the batch it is like has them, when that node looks at it again; else all from the one node."""
    if node is None:
        return ()
    if like is not None and like.node_of(Channel.DISTANCE) == node:
        return like.nodes
    return tuple((channel, node) for channel in SEEN_BY)


def _tared_mm(name: str, vessel: Vessel, node: NodeId | None) -> float | None:
    found: float | None = st.session_state.get(f"tare {name} {node}")
    return vessel.sensor_to_base_mm if found is None else found


@st.fragment(run_every=page.REFRESH_S)
def _live_reading(node: NodeId, vessel_name: str, vessel: Vessel) -> None:
    def draw(scene: page.Scene) -> None:
        row = next(each for each in scene.store.nodes() if each.node == node)
        st.html(page.note(reading_words(row, vessel, scene)))

    page.shown(draw)
    if st.button("Tare: the vessel below it is empty", key="tare", width="stretch"):
        _tare(node, vessel_name, vessel)


def _tare(node: NodeId, vessel_name: str, vessel: Vessel) -> None:
    def measure(scene: page.Scene) -> None:
        with queries.opened_as(Shelf) as store:
            found = tare_mm(store, node, scene)
        if found is None:
            st.toast("Not tared: the node has not measured a distance in the last two minutes.")
            return
        st.session_state[f"tare {vessel_name} {node}"] = found
        actions.put_on_shelf(vessel_name, replace(vessel, sensor_to_base_mm=found))
        st.rerun(scope="app")

    page.shown(measure)


def _another_vessel() -> None:
    """A vessel measured with a rule, put on the shelf."""
    with st.expander("Another vessel"), st.form("vessel-form", border=False):
        name = st.text_input("What you call it", max_chars=LONGEST_NAME)
        words = st.radio("Seen from above", [each.value for each in Shape], horizontal=True)
        shape = Shape(words or Shape.ROUND)
        base, top, depth = st.columns(3)
        base_mm = base.number_input("Across the base, mm inside", 20.0, 2000.0, 180.0, 5.0, format="%.0f")
        top_mm = top.number_input("Across the rim", 20.0, 2000.0, 210.0, 5.0, format="%.0f")
        depth_mm = depth.number_input("Deep", 20.0, 2000.0, 200.0, 5.0, format="%.0f")
        other = st.number_input("Other side at the base, if not round", 20.0, 2000.0, None, 5.0, format="%.0f")
        if st.form_submit_button("Put it on the shelf") and name.strip():
            side = base_mm if shape is Shape.ROUND or other is None else other
            rim = top_mm if shape is Shape.ROUND or other is None else other * top_mm / base_mm
            actions.put_on_shelf(name.strip(), Vessel(shape, (base_mm, side), (top_mm, rim), depth_mm))
            st.rerun()
