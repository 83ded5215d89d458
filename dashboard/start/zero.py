"""What a node reads now over a vessel, and setting it to zero: how far down the empty vessel's base lies."""

from dataclasses import replace
from datetime import timedelta
from statistics import median

import streamlit as st

from dashboard import actions, page
from dashboard.drawing import markup
from dashboard.page import View
from monitor.recipe.vessel import Vessel, volume_ml
from monitor.store.rows import NodeRow
from monitor.translatable import N_
from monitor.wire.readings import Channel, Flag, NodeId, Reading
from monitor.wording.alerts import temp_text
from monitor.wording.reader import Reader

FRESH = timedelta(minutes=2)  # judgement: a zero wants to know how it stands now
ZERO_OVER = timedelta(minutes=3)
EMPTY_MM = 3.0  # judgement: what a sensor wanders, and a film of oil


def zero_mm(name: str, vessel: Vessel, node: NodeId | None) -> float | None:
    """How far down the base lies: as just measured, else as the vessel has it. [mm]"""
    measured: float | None = st.session_state.get(f"zero {name} {node}")
    return vessel.sensor_to_base_mm if measured is None else measured


@page.live()
def show_reading(node: NodeId, vessel_name: str, vessel: Vessel, reader: Reader) -> None:
    """What the node reads now in this vessel, again and again, and the touch that sets it to zero."""

    def draw(view: View) -> None:
        row = next(each for each in view.store.nodes.all() if each.node == node)
        st.html(markup.note(_reading_words(row, vessel, view)))

    page.render(draw)
    if st.button(reader.say("Set to zero: the vessel below it is empty"), key="zero", width="stretch"):
        page.render(lambda view: _set_to_zero(view, node, vessel_name, vessel))


def _set_to_zero(view: View, node: NodeId, vessel_name: str, vessel: Vessel) -> None:
    measured_mm = _base_mm(view, node)
    if measured_mm is None:
        st.toast(view.reader.say("Not set to zero: the sensor has not measured a distance in the last two minutes."))
        return
    st.session_state[f"zero {vessel_name} {node}"] = measured_mm
    actions.save_vessel(vessel_name, replace(vessel, sensor_to_base_mm=measured_mm))
    st.rerun(scope="app")


def _base_mm(view: View, node: NodeId) -> float | None:
    """Distance to the base of an empty vessel: the last minutes' middle; None without fresh readings. [mm]"""
    readings = view.store.readings.between(node, Channel.DISTANCE, view.now - ZERO_OVER, view.now)
    usable = [reading for reading in readings if reading.flag is Flag.OK]
    if not usable or view.now - usable[-1].measured_at > FRESH:
        return None
    return float(median(reading.value for reading in usable))


def newest(row: NodeRow, channel: Channel) -> Reading | None:
    """What a node measured last of a channel, when it can be used."""
    return next((each for each in row.newest if each.channel is channel and each.flag is Flag.OK), None)


def _reading_words(row: NodeRow, vessel: Vessel, view: View) -> str:
    """What a node reads now, and what that means in this vessel."""
    reader, parts = view.reader, []
    for channel, what in ((Channel.AIR_TEMP, N_("air {temp}")), (Channel.DOUGH_TEMP, N_("dough {temp}"))):
        found = newest(row, channel)
        if found is not None:
            parts.append(reader.say(what, temp=temp_text(found.value, reader)))
    humid, distance = newest(row, Channel.HUMIDITY), newest(row, Channel.DISTANCE)
    if humid is not None:
        parts.append(reader.say("humidity {humidity} %", humidity=reader.number(humid.value)))
    if distance is not None:
        down = reader.say("{distance} mm down to what is below it", distance=reader.number(distance.value))
        parts.append(f"{down}, {_level_words(vessel, distance.value, reader)}")
    age_s = (view.now - row.last_seen_at).total_seconds()
    if age_s < 120:
        ago = reader.say("heard {n} s ago", n=round(age_s))
    else:
        ago = reader.say("last heard {n} min ago: look after it first", n=round(age_s / 60))
    return f"{ago}: " + ("; ".join(parts) or reader.say("nothing measured yet"))


def _level_words(vessel: Vessel, distance_mm: float, reader: Reader) -> str:
    if vessel.sensor_to_base_mm is None:
        return reader.say("not set to zero")
    level = vessel.sensor_to_base_mm - distance_mm
    if level < EMPTY_MM:
        return reader.say("empty")
    if level > vessel.depth_mm * 1.2:
        return reader.say("higher than this vessel: is it the right one, and set to zero?")
    litres = reader.number(float(volume_ml(vessel, level)) / 1000, 2)
    return reader.say("{level} mm of dough, {litres} l", level=reader.number(level), litres=litres)
