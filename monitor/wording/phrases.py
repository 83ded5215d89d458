"""The small words: states, stages, places, temperatures, weights and amounts of rise."""

from collections.abc import Iterable
from typing import assert_never

from monitor.alerts.alert import Phase, Sort, Subject
from monitor.alerts.kinds import AlertKind
from monitor.dough.outlook import Outlook, State
from monitor.recipe.batch import Batch, Event, EventKind, Stage
from monitor.translatable import N_, harmless
from monitor.units import fahrenheit, ounces
from monitor.wire.readings import Channel
from monitor.wording.reader import Reader

_STAGE_WORDS = {
    Stage.PREFERMENT: N_("preferment"),
    Stage.FIRST_RISE: N_("first rise"),
    Stage.FINAL_PROOF: N_("final proof"),
    Stage.RETARD: N_("retard"),
}
_EVENT_WORDS = {
    EventKind.FOLD: N_("folded"),
    EventKind.MOVE: N_("moved"),
    EventKind.POKE: N_("poked"),
    EventKind.LID: N_("lid off and on"),
    EventKind.COVER: N_("covered"),
    EventKind.UNCOVER: N_("uncovered"),
    EventKind.WINDOWPANE: N_("windowpane"),
    EventKind.STRENGTH: N_("strength"),
    EventKind.DOUGH_TEMP: N_("dough temperature"),
    EventKind.PH: N_("pH"),
    EventKind.TTA: N_("acidity (TTA)"),
    EventKind.END: N_("end of stage"),
}
_RECORDED_PHASE_WORDS = {  # in the words of ISA-18.2, as Phase has them
    Phase.NORMAL: N_("normal"),
    Phase.UNACKNOWLEDGED: N_("unacknowledged"),
    Phase.ACKNOWLEDGED: N_("acknowledged"),
    Phase.RETURNED: N_("returned to normal, unacknowledged"),
    Phase.SHELVED: N_("shelved"),
    Phase.SUPPRESSED: N_("suppressed"),
}
_PHASE_WORDS = {
    Phase.NORMAL: N_("it is over"),
    Phase.UNACKNOWLEDGED: N_("nobody has seen it yet"),
    Phase.ACKNOWLEDGED: N_("seen"),
    Phase.RETURNED: N_("over, nobody has seen it"),
    Phase.SHELVED: N_("later"),
    Phase.SUPPRESSED: N_("explained by another"),
}
_SORT_WORDS = {
    Sort.BATCH: N_("batch {name}"),
    Sort.NODE: N_("node {name}"),
    Sort.LINE: N_("line {name}"),
}


def alert_kind_word(kind: AlertKind, reader: Reader) -> str:
    """An alert in two or three words."""
    match kind:
        case AlertKind.FOLD_DUE:
            return reader.say("fold now")
        case AlertKind.OVEN_ON:
            return reader.say("oven on now")
        case AlertKind.READY_SOON:
            return reader.say("ready soon")
        case AlertKind.READY:
            return reader.say("ready")
        case AlertKind.AT_PEAK:
            return reader.say("at its peak")
        case AlertKind.OVER_BAND:
            return reader.say("over the band")
        case AlertKind.PAST_PEAK:
            return reader.say("past its peak")
        case AlertKind.NOT_RISING:
            return reader.say("not rising")
        case AlertKind.AIR_TOO_WARM:
            return reader.say("air too warm")
        case AlertKind.AIR_TOO_COLD:
            return reader.say("air too cold")
        case AlertKind.AIR_TOO_DRY:
            return reader.say("air too dry")
        case AlertKind.VIEW_BLOCKED:
            return reader.say("the sensor does not see it")
        case AlertKind.LEVEL_JUMPED:
            return reader.say("its level jumped")
        case AlertKind.SENSOR_SILENT:
            return reader.say("sensor silent")
        case AlertKind.NODE_SILENT:
            return reader.say("node silent")
        case AlertKind.LINE_SILENT:
            return reader.say("line silent")
        case AlertKind.TROUBLE:
            return reader.say("monitor in trouble")
        case _:
            assert_never(kind)


def phase_word(phase: Phase, reader: Reader) -> str:
    """How an alert stands, in a few words."""
    return reader.say(_PHASE_WORDS[phase])


def recorded_phase_word(phase: Phase, reader: Reader) -> str:
    """How an alert stood, in the standard's term, for its history."""
    return reader.say(_RECORDED_PHASE_WORDS[phase])


def subject_word(subject: Subject, reader: Reader, batch_name: str = "") -> str:
    """What an alert is about, on one line; a batch by the name given."""
    if subject.sort is Sort.MONITOR:
        return reader.say("the monitor")
    if subject.sort is Sort.BATCH and printable(batch_name):
        return printable(batch_name)
    return reader.say(_SORT_WORDS[subject.sort], name=printable(subject.name))


def printable(text: str) -> str:
    """A text of a baker's or a node's making on one line, without characters that would steer a terminal or a mail.

    >>> printable("Rye\\nstarter\\x1b[31m")
    'Rye starter [31m'
    """
    return " ".join(harmless(text).split())


def state_word(state: State, reader: Reader) -> str:
    """How a dough stands, in three words at most."""
    match state:
        case State.NO_RISE:
            return reader.say("no rise yet")
        case State.RISING:
            return reader.say("rising")
        case State.NEARLY_READY:
            return reader.say("nearly ready")
        case State.READY:
            return reader.say("ready")
        case State.AT_PEAK:
            return reader.say("at peak")
        case State.PAST_PEAK:
            return reader.say("past peak")
        case State.NOT_RISING:
            return reader.say("not rising")
        case State.NO_READINGS:
            return reader.say("no readings")
        case _:
            assert_never(state)


def stage_word(stage: Stage, reader: Reader) -> str:
    """What a baker calls a stage."""
    return reader.say(_STAGE_WORDS[stage])


def event_word(kind: EventKind, reader: Reader) -> str:
    """What was done to a dough, as it is noted."""
    return reader.say(_EVENT_WORDS[kind])


def event_text(event: Event, reader: Reader) -> str:
    """What was done to a dough or found of it, with what was noted."""
    word, value = event_word(event.kind, reader), event.value
    if value is None:
        return f"{word}: {reader.say(event.note)}" if event.note else word
    match event.kind:
        case EventKind.DOUGH_TEMP:
            much = temp_text(value, reader)
        case EventKind.TTA:
            much = f"{reader.number(value, 1)} mL"
        case _:
            much = reader.number(value, 1)
    return f"{word} {much}"


def flag_text(event: Event, reader: Reader) -> str:
    """The same at a flag of the curve, where there is little room: a word, or a word and its number."""
    if event.value is None:
        return event_word(event.kind, reader)
    if event.kind is EventKind.DOUGH_TEMP:
        return own_temp_text(event.value, reader)
    return event_text(event, reader)


def channel_word(channel: Channel, reader: Reader) -> str:
    """What a sensor measures."""
    match channel:
        case Channel.AIR_TEMP:
            return reader.say("air temperature")
        case Channel.HUMIDITY:
            return reader.say("humidity")
        case Channel.DOUGH_TEMP:
            return reader.say("dough temperature")
        case Channel.DISTANCE:
            return reader.say("height")
        case Channel.LEVEL:
            return reader.say("level by eye")
        case Channel.LOST:
            return reader.say("readings lost on the way")
        case Channel.SIGNAL:
            return reader.say("signal")
        case Channel.BATTERY:
            return reader.say("battery")
        case _:
            assert_never(channel)


def either_text(words: Iterable[str], reader: Reader) -> str:
    """Several things, any of them.

    >>> from datetime import UTC
    >>> reader = Reader(UTC)
    >>> either_text(["height"], reader), either_text(["air", "humidity", "height"], reader)
    ('height', 'air, humidity or height')
    """
    *first, last = words
    return reader.say("{several} or {last}", several=", ".join(first), last=last) if first else last


def temp_text(temp_c: float, reader: Reader) -> str:
    """A temperature in both scales, the reader's own first.

    >>> from datetime import UTC
    >>> temp_text(25.3, Reader(UTC)), temp_text(25.3, Reader(UTC, "F"))
    ('25.3 °C (77.5 °F)', '77.5 °F (25.3 °C)')
    """
    return _in_both_scales(temp_c, reader, 1)


def own_temp_text(temp_c: float, reader: Reader, digits: int = 1) -> str:
    """A temperature in the reader's own scale alone, where there is little room.

    >>> from datetime import UTC
    >>> own_temp_text(25.3, Reader(UTC, "F"))
    '77.5 °F'
    """
    return f"{reader.number(reader.degrees(temp_c), digits)} {reader.degree}"


def oven_text(oven_c: float, reader: Reader) -> str:
    """An oven's temperature in both scales, whole degrees: no dial is set finer.

    >>> from datetime import UTC
    >>> oven_text(218.3, Reader(UTC))
    '218 °C (425 °F)'
    """
    return _in_both_scales(oven_c, reader, 0)


def _in_both_scales(temp_c: float, reader: Reader, digits: int) -> str:
    texts = f"{reader.number(temp_c, digits)} °C", f"{reader.number(fahrenheit(temp_c), digits)} °F"
    own, other = sorted(texts, key=lambda text: not text.endswith(reader.degree))
    return f"{own} ({other})"


def degrees_text(difference_c: float, reader: Reader) -> str:
    """A difference of temperatures, without its sign.

    >>> from datetime import UTC
    >>> degrees_text(-2.1, Reader(UTC)), degrees_text(2.0, Reader(UTC, "F"))
    ('2.1 °C', '3.6 °F')
    """
    return f"{reader.number(abs(difference_c) * reader.degrees_per_kelvin, 1)} {reader.degree}"


def weigh_text(mass_g: float, reader: Reader) -> str:
    """A weight to weigh out, as scales of the reader's unit show it.

    >>> from datetime import UTC
    >>> [weigh_text(each_g, Reader(UTC)) for each_g in (712.6, 20.04, 0.604)], weigh_text(100, Reader(UTC, "C", "oz"))
    (['713 g', '20 g', '0.6 g'], '3.53 oz')
    """
    if reader.mass_unit == "oz":
        amount, digits = ounces(mass_g), 1 if mass_g >= 500.0 else 2
    else:
        amount, digits = mass_g, 0 if mass_g >= 50.0 else 1 if mass_g >= 5.0 else 2
    text = f"{amount:.{digits}f}"
    text = text.rstrip("0").rstrip(".") if digits else text
    return f"{text.replace('.', reader.language.decimal)} {reader.mass_unit}"


def mass_text(mass_g: float, reader: Reader) -> str:
    """A weight in grams, or kilograms from one on, and in ounces; the reader's own first.

    >>> from datetime import UTC
    >>> mass_text(450, Reader(UTC)), mass_text(1250, Reader(UTC, mass_unit="oz"))
    ('450 g (15.9 oz)', '44.1 oz (1.25 kg)')
    """
    if mass_g >= 1000.0:
        metric = f"{reader.number(mass_g / 1000.0, 2)} kg"
    else:
        metric = f"{reader.number(mass_g, 0 if mass_g >= 20.0 else 1)} g"
    imperial = f"{reader.number(ounces(mass_g), 1)} oz"
    return f"{imperial} ({metric})" if reader.mass_unit == "oz" else f"{metric} ({imperial})"


_PLACES = {"room": N_("the room"), "proofer": N_("the proofer"), "refrigerator": N_("the refrigerator")}
_IN_PLACES = {"room": N_("in the room"), "proofer": N_("in the proofer"), "refrigerator": N_("in the refrigerator")}
_INTO_PLACES = {
    "room": N_("into the room"),
    "proofer": N_("into the proofer"),
    "refrigerator": N_("into the refrigerator"),
}


def place_word(place: str, reader: Reader) -> str:
    """A place of the kitchen; one of the baker's naming keeps its name."""
    if place in _PLACES:
        return reader.say(_PLACES[place])
    return reader.say("the {place}", place=printable(place))


def in_place_text(place: str, reader: Reader) -> str:
    """Where something stands; a place of the baker's naming keeps its name."""
    if place in _IN_PLACES:
        return reader.say(_IN_PLACES[place])
    return reader.say("in the {place}", place=printable(place))


def into_place_text(place: str, reader: Reader) -> str:
    """Where something goes; a place of the baker's naming keeps its name."""
    if place in _INTO_PLACES:
        return reader.say(_INTO_PLACES[place])
    return reader.say("into the {place}", place=printable(place))


def rise_text(outlook: Outlook, reader: Reader) -> str:
    """How far a dough is up, with its doubt where it shows."""
    rise = outlook.rise_pct
    if rise is None:
        return reader.say("its rise is not known")
    low, middle, high = round(rise.p05), round(rise.p50), round(rise.p95)
    if middle < 0:
        return reader.say("{rise} % below where it began", rise=-middle)
    if high - low >= 2:
        return reader.say("{rise} % up (between {low} and {high})", rise=middle, low=low, high=high)
    return reader.say("{rise} % up", rise=middle)


def target_text(batch: Batch, reader: Reader) -> str:
    """What a batch waits for."""
    if batch.target.rise_pct is None:
        return reader.say("its peak")
    return reader.say("{rise} % up", rise=f"{batch.target.rise_pct:.0f}")
