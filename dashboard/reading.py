"""How the person at this session is told things: by the settings, or by what was chosen on the screen for a while."""

from dataclasses import replace
from pathlib import Path

import streamlit as st

from monitor.bakery.calls import QuietHours
from monitor.bakery.manner import Manner
from monitor.config import Config, load_config
from monitor.errors import ConfigError
from monitor.languages.catalogue import KNOWN, language

_LANGUAGE, _TEMP, _MASS, _CLOCK = "read-language", "read-temp", "read-mass", "read-clock"


@st.cache_resource(max_entries=4, ttl=60, show_spinner=False)
def _settings(folder: str) -> Config:
    """The settings in the data's folder.

    What cannot be read is the collector's to complain of: the screens go on with what is usual.
    """
    try:
        return load_config(Path(folder), {})
    except ConfigError:
        return Config(Path(folder))


def manner(folder: Path) -> Manner:
    """How this session is told things."""
    usual = _settings(str(folder)).manner
    state = st.session_state
    if not any(state.get(key) for key in (_LANGUAGE, _TEMP, _MASS, _CLOCK)):
        return usual
    code = state.get(_LANGUAGE)
    return replace(
        usual,
        temp_unit=state.get(_TEMP) or usual.temp_unit,
        mass_unit=state.get(_MASS) or usual.mass_unit,
        clock=state.get(_CLOCK) or usual.clock,
        language=language(code) if code else usual.language,
    )


def quiet_hours(folder: Path) -> QuietHours | None:
    """When only what wakes is called, by the settings."""
    return _settings(str(folder)).calls.quiet


def put_choice(folder: Path) -> None:
    """Language, units and dial, each one touch; kept while this page stays open, and nobody else's."""
    told = manner(folder)
    for key, now in (
        (_LANGUAGE, told.language.code),
        (_TEMP, told.temp_unit),
        (_MASS, told.mass_unit),
        (_CLOCK, told.clock),
    ):
        st.session_state[key] = now  # said anew on each screen, or Streamlit forgets it with the last one
    with st.popover(told.say("How to read"), icon=":material/translate:"):
        for label, key, answers in (
            (told.say("Language"), _LANGUAGE, KNOWN),
            (told.say("Temperatures"), _TEMP, {"C": "°C", "F": "°F"}),
            (told.say("Weights"), _MASS, {"g": "g", "oz": "oz"}),
            (told.say("Clock"), _CLOCK, {"24": "14:30", "12": "2:30 PM"}),
        ):
            st.radio(label, list(answers), format_func=answers.__getitem__, key=key, horizontal=True)
