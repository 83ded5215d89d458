"""The bakery's vessels: what they are called, how large they are, and another one added to them."""

from collections.abc import Mapping

import streamlit as st

from dashboard import actions
from monitor.recipe.batch import Batch
from monitor.recipe.toml_tables import LONGEST_NAME
from monitor.recipe.vessel import Shape, Vessel
from monitor.translatable import N_, harmless
from monitor.wording.reader import Reader

FIRST_VESSELS = {  # to begin with: round numbers of no maker's
    N_("round tub, 6 litres"): Vessel(Shape.ROUND, (190.0, 190.0), (220.0, 220.0), 180.0),
    N_("long tray"): Vessel(Shape.RECTANGULAR, (300.0, 200.0), (300.0, 200.0), 120.0),
    N_("jar, 1 litre"): Vessel(Shape.ROUND, (95.0, 95.0), (95.0, 95.0), 145.0),
}
AS_BEFORE = "as "
_SHAPES = {Shape.ROUND: N_("round"), Shape.RECTANGULAR: N_("rectangular")}


def vessel_word(name: str, reader: Reader) -> str:
    """What a vessel is called: those to begin with in the reader's language, the others as the baker named them."""
    if name in FIRST_VESSELS:
        return reader.say(name)
    if name.startswith(AS_BEFORE):
        return reader.say("as {batch}", batch=name.removeprefix(AS_BEFORE))
    return name


def vessels_for(saved: Mapping[str, Vessel], like: Batch | None) -> dict[str, Vessel]:
    """All vessels; the one of the batch it is to be like in front, unless it is among them already."""
    vessels = FIRST_VESSELS | dict(saved)
    if like is None or like.vessel in vessels.values():
        return vessels
    return {f"{AS_BEFORE}{like.name}": like.vessel, **vessels}


def measures(vessel: Vessel, reader: Reader) -> str:
    """Inner measures in words."""
    (first, second), (top, _), depth = vessel.base_mm, vessel.top_mm, round(vessel.depth_mm)
    if vessel.shape is Shape.ROUND:
        across = N_("{base} to {top} mm across, {depth} mm deep inside")
        return reader.say(across, base=round(first), top=round(top), depth=depth)
    return reader.say(
        "{base} by {other} mm, {depth} mm deep inside", base=round(first), other=round(second), depth=depth
    )


def show_new_vessel(reader: Reader) -> None:
    """A form for a vessel measured with a rule."""
    with st.expander(reader.say("Another vessel")), st.form("vessel-form", border=False):
        name = st.text_input(reader.say("What you call it"), max_chars=LONGEST_NAME)
        shape = st.radio(
            reader.say("Seen from above"),
            list(_SHAPES),
            format_func=lambda each: reader.say(_SHAPES[each]),
            horizontal=True,
        )
        base, top, depth = st.columns(3)
        base_mm = base.number_input(reader.say("Across the base, mm inside"), 20.0, 2000.0, 180.0, 5.0, format="%.0f")
        top_mm = top.number_input(reader.say("Across the rim"), 20.0, 2000.0, 210.0, 5.0, format="%.0f")
        depth_mm = depth.number_input(reader.say("Deep"), 20.0, 2000.0, 200.0, 5.0, format="%.0f")
        label = reader.say("Other side at the base, if not round")
        other = st.number_input(label, 20.0, 2000.0, None, 5.0, format="%.0f")
        if st.form_submit_button(reader.say("Save the vessel")) and name.strip():
            side = base_mm if shape is Shape.ROUND or other is None else other
            rim = top_mm if shape is Shape.ROUND or other is None else other * top_mm / base_mm
            actions.save_vessel(harmless(name).strip(), Vessel(shape, (base_mm, side), (top_mm, rim), depth_mm))
            st.rerun()
