"""How the person at this session is told things: by the settings, or by what was chosen on the screen.

A choice is kept in the session, and in the address too (``?language=de&temp=F``), where it outlives a reload and can be
bookmarked: Streamlit reads cookies but sets none, and has no other way into a browser's memory without a component. A
link to another page clears the address, so most take the choices along (:func:`in_address`); after any other the
session writes them anew, which costs one more step back through the pages.
"""

from dataclasses import replace
from pathlib import Path

import streamlit as st

from dashboard.access import address
from monitor.alerts.calls import QuietHours
from monitor.errors import ConfigError
from monitor.settings.config import Config, load_config
from monitor.wording.languages.catalogue import KNOWN, language
from monitor.wording.reader import Reader

_ANSWERS = {  # by what it is called in the address: what may be chosen, and how that is shown
    "language": KNOWN,
    "temp": {"C": "°C", "F": "°F"},
    "mass": {"g": "g", "oz": "oz"},
    "clock": {"24": "14:30", "12": "2:30 PM"},
}


@st.cache_resource(max_entries=4, ttl=60, show_spinner=False)
def _settings(folder: str) -> Config:
    """The settings in the data's folder.

    What cannot be read is the collector's to complain of: the screens go on with what is usual.
    """
    try:
        return load_config(Path(folder), {})
    except ConfigError:
        return Config(Path(folder))


def reader(folder: Path) -> Reader:
    """How this session is told things."""
    usual = _settings(str(folder)).reader
    said = {name: answer for name in _ANSWERS if (answer := _chosen(name)) is not None}
    if not said:
        return usual
    return replace(
        usual,
        temp_unit=said.get("temp", usual.temp_unit),
        mass_unit=said.get("mass", usual.mass_unit),
        clock=said.get("clock", usual.clock),
        language=language(said["language"]) if "language" in said else usual.language,
    )


def silence_min(folder: Path) -> float:
    """After how long without a reading a dough counts as not measured, as for the alerts. [min]"""
    return _settings(str(folder)).rules.silence_min


def _chosen(name: str) -> str | None:
    """What the reader chose in this session; at its beginning what the address says, which may be anything."""
    said = st.session_state.get(_key(name)) or st.query_params.get(name)
    return said if said in _ANSWERS[name] else None


def _key(name: str) -> str:
    return f"read-{name}"


def _answers(told: Reader) -> dict[str, str]:
    """How somebody is told things, as it is chosen and written in the address."""
    return {"language": told.language.code, "temp": told.temp_unit, "mass": told.mass_unit, "clock": told.clock}


def in_address(folder: Path) -> dict[str, str]:
    """What this reader has chosen otherwise than the settings, for the address."""
    usual = _answers(_settings(str(folder)).reader)
    return {name: said for name, said in _answers(reader(folder)).items() if said != usual[name]}


def quiet_hours(folder: Path) -> QuietHours | None:
    """When only what wakes is called, by the settings."""
    return _settings(str(folder)).calls.quiet


def put_choice(folder: Path) -> None:
    """Language, units and dial, each one touch; kept in this browser's address, and nobody else's."""
    told = reader(folder)
    for name, now in _answers(told).items():
        st.session_state[_key(name)] = now  # said anew on each screen, or Streamlit forgets it with the last one
    address.write(in_address(folder), _ANSWERS)
    with st.popover(told.say("How to read"), icon=":material/translate:"):
        for label, name in (
            (told.say("Language"), "language"),
            (told.say("Temperatures"), "temp"),
            (told.say("Weights"), "mass"),
            (told.say("Clock"), "clock"),
        ):
            answers = _ANSWERS[name]
            st.radio(label, list(answers), format_func=answers.__getitem__, key=_key(name), horizontal=True)
