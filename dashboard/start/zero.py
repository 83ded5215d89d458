"""What a node reads now over a vessel, and the tare: how far down the empty vessel's base lies."""

from dataclasses import replace
from datetime import timedelta
from statistics import median

import streamlit as st

from dashboard import actions, page, queries
from dashboard.page import Scene
from monitor.recipe.vessel import Vessel, volume_ml
from monitor.store.rows import NodeRow
from monitor.store.vessels import Shelf
from monitor.translatable import N_
from monitor.wire.readings import Channel, Flag, NodeId, Reading
from monitor.wording.alerts import temp_text
from monitor.wording.reader import Reader

FRESH = timedelta(minutes=2)  # judgement: a tare wants to know how it stands now
TARE_OVER = timedelta(minutes=3)
EMPTY_MM = 3.0  # judgement: what a sensor wanders, and a film of oil


def tared_mm(name: str, vessel: Vessel, node: NodeId | None) -> float | None:
    """How far down the base lies: as just tared, else as the vessel has it. [mm]"""
    found: float | None = st.session_state.get(f"tare {name} {node}")
    return vessel.sensor_to_base_mm if found is None else found


@st.fragment(run_every=page.REFRESH_S)
def put_live_reading(node: NodeId, vessel_name: str, vessel: Vessel, reader: Reader) -> None:
    """What the node reads now in this vessel, again and again, and the touch that tares it."""

    def draw(scene: page.Scene) -> None:
        row = next(each for each in scene.store.nodes() if each.node == node)
        st.html(page.note(reading_words(row, vessel, scene)))

    page.shown(draw)
    if st.button(reader.say("Tare: the vessel below it is empty"), key="tare", width="stretch"):
        _tare(node, vessel_name, vessel)


def _tare(node: NodeId, vessel_name: str, vessel: Vessel) -> None:
    def measure(scene: page.Scene) -> None:
        with queries.opened_as(Shelf) as store:
            found = tare_mm(store, node, scene)
        if found is None:
            st.toast(scene.reader.say("Not tared: the node has not measured a distance in the last two minutes."))
            return
        st.session_state[f"tare {vessel_name} {node}"] = found
        actions.put_on_shelf(vessel_name, replace(vessel, sensor_to_base_mm=found))
        st.rerun(scope="app")

    page.shown(measure)


def newest_of(row: NodeRow, channel: Channel) -> Reading | None:
    """What a node said last of a channel, when it can be used."""
    return next((each for each in row.newest if each.channel is channel and each.flag is Flag.OK), None)


def tare_mm(store: Shelf, node: NodeId, scene: Scene) -> float | None:
    """Distance to the base of an empty vessel: the last minutes' middle; None without fresh readings. [mm]"""
    found = [
        reading
        for reading in store.readings_between(node, Channel.DISTANCE, scene.now - TARE_OVER, scene.now)
        if reading.flag is Flag.OK
    ]
    if not found or scene.now - found[-1].measured_at > FRESH:
        return None
    return float(median(reading.value for reading in found))


def reading_words(row: NodeRow, vessel: Vessel, scene: Scene) -> str:
    """What a node reads now, and what that means in this vessel."""
    reader, parts = scene.reader, []
    for channel, what in ((Channel.AIR_TEMP, N_("air {temp}")), (Channel.DOUGH_TEMP, N_("dough {temp}"))):
        found = newest_of(row, channel)
        if found is not None:
            parts.append(reader.say(what, temp=temp_text(found.value, reader)))
    humid, distance = newest_of(row, Channel.HUMIDITY), newest_of(row, Channel.DISTANCE)
    if humid is not None:
        parts.append(reader.say("humidity {humidity} %", humidity=reader.number(humid.value)))
    if distance is not None:
        down = reader.say("{distance} mm down to what is below it", distance=reader.number(distance.value))
        parts.append(f"{down}, {_level_words(vessel, distance.value, reader)}")
    age_s = (scene.now - row.last_seen_at).total_seconds()
    if age_s < 120:
        ago = reader.say("heard {n} s ago", n=round(age_s))
    else:
        ago = reader.say("last heard {n} min ago: look after it first", n=round(age_s / 60))
    values = "; ".join(parts) or reader.say("nothing measured yet")
    return f"{ago}: {values}"


def _level_words(vessel: Vessel, distance_mm: float, reader: Reader) -> str:
    if vessel.sensor_to_base_mm is None:
        return reader.say("not tared")
    level = vessel.sensor_to_base_mm - distance_mm
    if level < EMPTY_MM:
        return reader.say("empty")
    if level > vessel.depth_mm * 1.2:
        return reader.say("higher than this vessel: is it the right one, and tared?")
    litres = reader.number(float(volume_ml(vessel, level)) / 1000, 2)
    return reader.say("{level} mm of dough, {litres} l", level=reader.number(level), litres=litres)
