"""The page's address: what of it belongs to whom, and widgets that follow it and that it follows.

A browser sends its address along with every touch, and takes on a new one only when it has been told. So a second
touch, made before that, brings the address of before the first one.
"""

from collections.abc import Collection, Mapping

import streamlit as st

from monitor.recipe.batch import BatchId


def write(wanted: Mapping[str, str], mine: Collection[str]) -> None:
    """Say some things in the address, under names that are one's own; what else it says stays.

    All at once and only what is new, for each write is a step of the browser's history.
    """
    now = st.query_params.to_dict()
    new = {name: value for name, value in now.items() if name not in mine} | dict(wanted)
    if new != now:
        st.query_params.from_dict(new)


def synced_key(key: str, asked: object) -> str:
    """The key of a widget that shows what the address asks for, whenever that is not what the widget said last.

    One key for good: a widget whose key changed with the address would lose every second touch. And a widget that was
    touched shows that, whatever the address still says. See :func:`remember`.
    """
    state = st.session_state
    last = state.get(_key_of_last(key))
    is_touched = key in state and state[key] != last
    if key not in state or (not is_touched and last != asked):
        state[key] = asked
        remember(key, asked)  # at once: the next touch may end this run before the widget is drawn
    return key


def remember(key: str, answer: object) -> None:
    """Keep what a widget that follows the address said, before the address is written."""
    st.session_state[_key_of_last(key)] = answer


def _key_of_last(key: str) -> str:
    return f"{key}, as said last"


def batch_id() -> BatchId | None:
    """The batch named in the address, or None."""
    asked = st.query_params.get("batch", "")
    return BatchId(int(asked)) if asked.isdecimal() and len(asked) < 19 else None
