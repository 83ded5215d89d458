"""What if, on the batch's screen: what is supposed of the air to come, asked of the estimator and put into words."""

from dataclasses import dataclass
from datetime import datetime, time, timedelta

import streamlit as st

from dashboard import page
from monitor.dough.learning import learned_from
from monitor.dough.outlook import Outlook
from monitor.dough.scenarios import cold_spell, scenario_outlook
from monitor.dough.temperature import AirStep
from monitor.plan.kitchen import USUAL_COLD_C
from monitor.recipe.batch import Batch
from monitor.recipe.method import UNMEASURED_ROOM_C
from monitor.store.store import Store
from monitor.translatable import N_
from monitor.wording.alerts import clock_text, outlook_sentence, temp_text
from monitor.wording.reader import Reader
from monitor.wording.times import next_time

WARMER_BY = tuple(range(-8, 11))  # steps of the slider: a cool cellar to a warm cabinet, from a usual room. Judgement
FAHRENHEIT_STEP_C = 10.0 / 9.0  # two degrees Fahrenheit
QUARTER_S = 900


@dataclass(frozen=True, slots=True)
class Supposed:
    """What a baker supposes of the air to come.

    Attributes
    ----------
    warmer_by_c
        How much warmer than now the air of the room is. [C]
    in_at, out_at
        Into the refrigerator and out of it; None: not at all.
    room_c
        The room's air under that supposition. [C]
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

    def words(self, scene: page.Scene) -> str:
        """The supposition as the beginning of a sentence."""
        reader, parts = scene.reader, []
        if self.warmer_by_c:
            parts.append(reader.say("in air of {air}", air=temp_text(self.room_c, reader)))
        if self.in_at is not None:
            since = clock_text(self.in_at, reader, scene.now)
            if self.out_at is None:
                parts.append(reader.say("in the refrigerator from {since}", since=since))
            else:
                until = clock_text(self.out_at, reader, self.in_at)
                parts.append(reader.say("in the refrigerator from {since} to {until}", since=since, until=until))
        return ", ".join(parts)


def put_question(scene: page.Scene, batch: Batch) -> None:
    """The slider and the two times."""
    reader = scene.reader
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
        if asked(scene, batch) is not None:
            st.button(reader.say("As it is"), key="as-it-is", on_click=_forget, args=(batch,))


def asked(scene: page.Scene, batch: Batch) -> Supposed | None:
    """What this session supposes of a batch; None when nothing."""
    state = st.session_state
    steps = int(state.get(_key(batch, "air"), 0))
    into, out = state.get(_key(batch, "in")), state.get(_key(batch, "out"))
    if steps == 0 and into is None:
        return None
    newest = scene.store.latest_outlook(batch.id)
    air_c = UNMEASURED_ROOM_C if newest is None or newest.air_temp_c is None else newest.air_temp_c
    warmer_by_c = steps * (FAHRENHEIT_STEP_C if scene.reader.temp_unit == "F" else 1.0)
    in_at = None if into is None else _spell_begin(into, scene)
    out_at = None if in_at is None or out is None else next_time(out, in_at, scene.reader.zone)
    return Supposed(warmer_by_c, in_at, out_at, air_c + warmer_by_c)


def _spell_begin(into: time, scene: page.Scene) -> datetime:
    """When it goes in: a quarter that has just begun means now, not tomorrow."""
    found = next_time(into, scene.now - timedelta(seconds=QUARTER_S), scene.reader.zone)
    return max(found, scene.now)


def answer(scene: page.Scene, batch: Batch, supposed: Supposed) -> Outlook:
    """What would come of it; worked out once for each newest outlook, and kept."""
    newest = scene.store.latest_outlook(batch.id)
    known_at = scene.now if newest is None else newest.at
    return _answer(str(scene.store.path), batch, supposed, known_at, scene.store)


@st.cache_resource(max_entries=64, ttl=600, show_spinner=False)
def _answer(path: str, batch: Batch, supposed: Supposed, known_at: datetime, _store: Store) -> Outlook:
    learned = learned_from(_store.lessons_before(batch), batch)  # as the collector does: both must say the same
    return scenario_outlook(batch, _store.track(batch), known_at, supposed.ahead(known_at), learned=learned)


def sentence(scene: page.Scene, batch: Batch, supposed: Supposed, found: Outlook) -> str:
    """Supposition and answer, as a colleague would say it."""
    return f"{supposed.words(scene)}: {outlook_sentence(batch, found, scene.reader)}"


def _step_words(steps: int, reader: Reader) -> str:
    if steps == 0:
        return reader.say("as it is")
    degrees = f"{2 * abs(steps) if reader.temp_unit == 'F' else abs(steps)} °{reader.temp_unit}"
    return reader.say(N_("{degrees} warmer") if steps > 0 else N_("{degrees} colder"), degrees=degrees)


def _key(batch: Batch, what: str) -> str:
    return f"if-{what}-{batch.id}"


def _forget(batch: Batch) -> None:
    st.session_state[_key(batch, "air")] = 0
    st.session_state[_key(batch, "in")] = None
    st.session_state[_key(batch, "out")] = None
