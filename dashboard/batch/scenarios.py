"""What if, on the batch's screen: a scenario of the air to come, asked of the estimator and put into words."""

from dataclasses import dataclass
from datetime import datetime, time, timedelta

import streamlit as st

from dashboard.page import View
from monitor.dough.learning import learned_from
from monitor.dough.outlook import Outlook
from monitor.dough.scenarios import cold_spell, scenario_outlook
from monitor.dough.temperature import AirStep
from monitor.recipe.batch import Batch
from monitor.recipe.intent import UNMEASURED_ROOM_C, USUAL_COLD_C
from monitor.store.store import Store
from monitor.translatable import N_
from monitor.wording.alerts import clock_text, outlook_sentence, temp_text
from monitor.wording.reader import Reader
from monitor.wording.times import next_time

WARMER_BY = tuple(range(-8, 11))  # steps of the slider: a cool cellar to a warm cabinet, from a usual room. Judgement
QUARTER_S = 900


@dataclass(frozen=True, slots=True)
class Scenario:
    """What the air to come may be.

    Attributes
    ----------
    warmer_by_c
        How much warmer than now the air of the room is. [C]
    in_at, out_at
        Into the refrigerator and out of it; None: not at all.
    room_c
        The room's air in this scenario. [C]
    """

    warmer_by_c: float
    in_at: datetime | None
    out_at: datetime | None
    room_c: float

    def ahead(self, now: datetime) -> tuple[AirStep, ...]:
        """The same as air to come."""
        room = () if self.warmer_by_c == 0.0 else (AirStep(now, self.room_c),)
        if self.in_at is None:
            return room
        return room + cold_spell(self.in_at, self.out_at, cold_c=USUAL_COLD_C, room_c=self.room_c)

    def words(self, reader: Reader, now: datetime) -> str:
        """The scenario as the beginning of a sentence."""
        parts = []
        if self.warmer_by_c:
            parts.append(reader.say("in air of {air}", air=temp_text(self.room_c, reader)))
        if self.in_at is not None:
            since = clock_text(self.in_at, reader, now)
            if self.out_at is None:
                parts.append(reader.say("in the refrigerator from {since}", since=since))
            else:
                until = clock_text(self.out_at, reader, self.in_at)
                parts.append(reader.say("in the refrigerator from {since} to {until}", since=since, until=until))
        return ", ".join(parts)


@dataclass(frozen=True, slots=True)
class WhatIf:
    """A scenario, what would come of it, and both as a sentence."""

    scenario: Scenario
    outlook: Outlook
    sentence: str


def show_question(batch: Batch, reader: Reader) -> None:
    """The slider and the two times."""
    with st.container(key="what-if"):
        air, into, out = st.columns([2.2, 1, 1], gap="medium", vertical_alignment="bottom")
        air.select_slider(
            reader.say("What if the air were, from now on"),
            WARMER_BY,
            value=0,
            format_func=lambda steps: _step_words(int(steps), reader),
            key=_key(batch, "air"),
        )
        into.time_input(reader.say("Into the refrigerator"), value=None, step=QUARTER_S, key=_key(batch, "in"))
        out.time_input(reader.say("Out again"), value=None, step=QUARTER_S, key=_key(batch, "out"))
        if _is_chosen(batch):
            st.button(reader.say("As it is"), key="as-it-is", on_click=_forget, args=(batch,))


def what_if(view: View, batch: Batch, newest: Outlook | None) -> WhatIf | None:
    """The scenario that this session has chosen for a batch, and what would come of it; None when there is none."""
    if not _is_chosen(batch):
        return None
    reader, now = view.reader, view.now
    steps, into, out = (st.session_state.get(_key(batch, what)) for what in ("air", "in", "out"))
    air_c = UNMEASURED_ROOM_C if newest is None or newest.air_temp_c is None else newest.air_temp_c
    warmer_by_c = int(steps or 0) * _step_degrees(reader) / reader.degrees_per_kelvin
    in_at = None if into is None else _first_at(into, view)
    out_at = None if in_at is None or out is None else next_time(out, in_at, reader.zone)
    scenario = Scenario(warmer_by_c, in_at, out_at, air_c + warmer_by_c)
    outlook = _outlook(str(view.store.path), batch, scenario, now if newest is None else newest.at, view.store)
    sentence = f"{scenario.words(reader, now)}: {outlook_sentence(batch, outlook, reader)}"
    return WhatIf(scenario, outlook, reader.say("What if: {answer}.", answer=sentence))


def _first_at(into: time, view: View) -> datetime:
    """When it goes in: a quarter that has just begun means now, not tomorrow."""
    return max(next_time(into, view.now - timedelta(seconds=QUARTER_S), view.reader.zone), view.now)


@st.cache_resource(max_entries=64, ttl=600, show_spinner=False)
def _outlook(path: str, batch: Batch, scenario: Scenario, known_at: datetime, _store: Store) -> Outlook:
    learned = learned_from(_store.lessons.before(batch), batch)  # as the collector does: both must say the same
    return scenario_outlook(batch, _store.readings.track(batch), known_at, scenario.ahead(known_at), learned=learned)


def _step_degrees(reader: Reader) -> int:
    """A step of warmth, in the reader's degrees: about one kelvin."""
    return round(reader.degrees_per_kelvin)


def _step_words(steps: int, reader: Reader) -> str:
    if steps == 0:
        return reader.say("as it is")
    degrees = f"{_step_degrees(reader) * abs(steps)} {reader.degree}"
    return reader.say(N_("{degrees} warmer") if steps > 0 else N_("{degrees} colder"), degrees=degrees)


def _key(batch: Batch, what: str) -> str:
    return f"if-{what}-{batch.id}"


def _is_chosen(batch: Batch) -> bool:
    state = st.session_state
    return bool(state.get(_key(batch, "air"))) or state.get(_key(batch, "in")) is not None


def _forget(batch: Batch) -> None:
    st.session_state[_key(batch, "air")] = 0
    st.session_state[_key(batch, "in")] = None
    st.session_state[_key(batch, "out")] = None
