"""Where the dough stands now, read by eye: a level that is dragged on a drawing of the tub.

A component of its own, in plain JavaScript: the framework's slider lies on its side and beside any drawing, its number
field wants a keyboard under floury hands, and its pictures cannot be touched. The parts are read from beside this file
and run in the page as they are: nothing is built, nothing is fetched.
"""

from pathlib import Path

import streamlit as st

from monitor.recipe.vessel import Vessel, level_mm, volume_ml
from monitor.wording.reader import Reader


def _part(suffix: str) -> str:
    return Path(__file__).with_suffix(suffix).read_text(encoding="utf-8")


_LEVEL = st.components.v2.component("level", html=_part(".html"), css=_part(".css"), js=_part(".js"))


def ask(vessel: Vessel, now_mm: float | None, rise_pct: float | None, reader: Reader, key: str) -> float | None:
    """A level over the base as somebody sets it, or as it is known. [mm]

    Parameters
    ----------
    rise_pct
        Where the band is to hang; None: it waits for its peak.
    """
    kept = st.session_state.get(key)
    now_mm = now_mm if kept is None or kept["level_mm"] is None else kept["level_mm"]
    band_mm = None
    if now_mm and rise_pct is not None:
        band_mm = float(level_mm(vessel, volume_ml(vessel, now_mm) * (1.0 + rise_pct / 100.0)))
    told = _LEVEL(
        key=key,
        data={
            "depth_mm": vessel.depth_mm,
            "base_mm": max(vessel.base_mm),
            "top_mm": max(vessel.top_mm),
            "level_mm": now_mm,
            "band_mm": band_mm,
            "words": {
                "label": reader.say("Level of the dough at the wall, in millimetres over the base"),
                "unsaid": reader.say("not said yet"),
                "level": reader.say("{n} mm", n="{n}"),
                "more": reader.say("one millimetre more"),
                "less": reader.say("one millimetre less"),
            },
        },
        default={"level_mm": now_mm},
        on_level_mm_change=lambda: None,
    )
    return None if told.level_mm is None else float(told.level_mm)
