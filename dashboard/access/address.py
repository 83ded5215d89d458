"""The page's address: what of it belongs to whom, and widgets that follow it and that it follows.

A browser sends its address along with every touch, and takes on a new one only when it has been told. So a second
touch, made before that, brings the address of before the first one.
"""

from collections.abc import Collection, Mapping

import streamlit as st


def write(said: Mapping[str, str], mine: Collection[str]) -> None:
    """Say some things in the address, under names that are one's own; what else it says stays.

    All at once and only what is new, for each write is a step of the browser's history.
    """
    now = st.query_params.to_dict()
    wanted = {name: value for name, value in now.items() if name not in mine} | dict(said)
    if wanted != now:
        st.query_params.from_dict(wanted)


def follows(key: str, asked: object) -> str:
    """The key of a widget that shows what the address asks for, whenever that is not what the widget said last.

    One key for good: a widget whose key changed with the address would lose every second touch. And a widget that was
    touched shows that, whatever the address still says. See :func:`told`.
    """
    state = st.session_state
    last = state.get(_said(key))
    is_touched = key in state and state[key] != last
    if key not in state or (not is_touched and last != asked):
        state[key] = asked
    return key


def told(key: str, answer: object) -> None:
    """Keep what a widget that follows the address said, before the address is written."""
    st.session_state[_said(key)] = answer


def _said(key: str) -> str:
    return f"{key}, as told"
