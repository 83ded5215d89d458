"""What the settings say of a screen, and how the person at this session is told things: by them, or as chosen here.

A choice is kept in the session, and in the address too (``?language=de&temp=F``), where it outlives a reload and can be
bookmarked: Streamlit reads cookies but sets none, and has no other way into a browser's memory without a component. A
link to another page clears the address, so most take the choices along (:func:`in_address`); after any other the
session writes them anew, which costs one more step back through the pages.
"""

from dataclasses import replace
from pathlib import Path

import streamlit as st

from dashboard.access import address, visitor
from monitor.alerts.calls import QuietHours
from monitor.errors import ConfigError
from monitor.settings.config import Config, load_config
from monitor.wire.readings import NodeId
from monitor.wording.languages.catalogue import KNOWN, language
from monitor.wording.reader import Reader

_ANSWERS = {  # by what it is called in the address: what may be chosen, and how that is shown
    "language": KNOWN,
    "temp": {"C": "°C", "F": "°F"},
    "mass": {"g": "g", "oz": "oz"},
    "clock": {"24": "14:30", "12": "2:30 PM"},
}


@st.cache_resource(max_entries=256, ttl=visitor.KEPT_S, show_spinner=False)
def settings(folder: str) -> Config:
    """The settings in the data's folder.

    What cannot be read is the collector's to complain of: the screens go on with what is usual.
    """
    try:
        return load_config(Path(folder))
    except ConfigError:
        return Config(Path(folder))


def usual_reader(folder: Path) -> Reader:
    """How anybody is told things who has chosen nothing."""
    return settings(str(folder)).reader


def reader(folder: Path) -> Reader:
    """How this session is told things."""
    usual = usual_reader(folder)
    chosen = {name: answer for name in _ANSWERS if (answer := _chosen(name)) is not None}
    if not chosen:
        return usual
    return replace(
        usual,
        temp_unit=chosen.get("temp", usual.temp_unit),
        mass_unit=chosen.get("mass", usual.mass_unit),
        clock=chosen.get("clock", usual.clock),
        language=language(chosen["language"]) if "language" in chosen else usual.language,
    )


def silence_min(folder: Path) -> float:
    """After how long without a reading a dough counts as not measured, as for the alerts. [min]"""
    return settings(str(folder)).rules.silence_min


def _chosen(name: str) -> str | None:
    """What the reader chose in this session; at its beginning what the address says, which may be anything."""
    answer = st.session_state.get(_key(name)) or st.query_params.get(name)
    return answer if answer in _ANSWERS[name] else None


def _key(name: str) -> str:
    return f"read-{name}"


def _answers(by: Reader) -> dict[str, str]:
    """How somebody is told things, as it is chosen and written in the address."""
    return {"language": by.language.code, "temp": by.temp_unit, "mass": by.mass_unit, "clock": by.clock}


def in_address(folder: Path) -> dict[str, str]:
    """What this reader has chosen otherwise than the settings, for the address."""
    usual = _answers(usual_reader(folder))
    return {name: answer for name, answer in _answers(reader(folder)).items() if answer != usual[name]}


def place_of(folder: Path, *nodes: NodeId) -> str:
    """Where some nodes stand within their site: the narrowest place of theirs; empty when nobody has said any."""
    places = settings(str(folder)).places
    known = [places[node] for node in nodes if node in places]
    return max(known, key=lambda place: len(str(place).split("/"))).within_site if known else ""


def quiet_hours(folder: Path) -> QuietHours | None:
    """When only what wakes is called, by the settings."""
    return settings(str(folder)).calls.quiet


def show_choice(folder: Path) -> None:
    """Language, units and dial, each one touch; kept in this browser's address, and nobody else's."""
    now = reader(folder)
    for name, answer in _answers(now).items():
        st.session_state[_key(name)] = answer  # written anew on each screen, or Streamlit forgets it with the last one
    address.write(in_address(folder), _ANSWERS)
    for label, name in (
        (now.say("Language"), "language"),
        (now.say("Temperatures"), "temp"),
        (now.say("Weights"), "mass"),
        (now.say("Clock"), "clock"),
    ):
        answers = _ANSWERS[name]
        st.radio(label, list(answers), format_func=answers.__getitem__, key=_key(name), horizontal=True)
