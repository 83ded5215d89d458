"""What the screen says of a node: whether it is there, its signal, battery, clock, calibration and gaps. Pure."""

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime

import numpy as np

from dashboard.drawing.strips import HEARD_GAP
from dashboard.sensors.health import SURE, drift_of
from monitor.health.nodes import WEAK_DBM
from monitor.recipe.calibration import Calibration
from monitor.store.readings import Hearing
from monitor.store.rows import NodeRow
from monitor.translatable import N_
from monitor.wire.readings import NO_BOOT, SENSOR_CHANNELS, Channel
from monitor.wording.node_report import running_text, sensors_text
from monitor.wording.phrases import channel_word
from monitor.wording.reader import Reader
from monitor.wording.times import clock_text, duration_text

GOOD_DBM = -67  # common practice for wireless networks, no source
FULL_V, LOW_V = 3.7, 3.5  # judgement
FED_V = 4.4  # judgement: no lithium cell says so much; it is fed by a supply
LONGEST_DAYS = 120.0
AT_ONCE_S = 1.0


def state_words(row: NodeRow, reader: Reader, now: datetime) -> tuple[str, bool]:
    """Whether it is there, and True when that is well."""
    silent = now - row.last_seen_at
    if row.is_online is False:
        return reader.say("offline"), False
    if silent > HEARD_GAP:
        return reader.say("silent for {time}", time=duration_text(silent.total_seconds() / 60.0)), False
    return reader.say(N_("on a cable") if row.is_online is None else N_("online")), True


def is_foreign(row: NodeRow) -> bool:
    """True for a device that is no node of ours: nothing numbers what it says."""
    return any(each.boot == NO_BOOT for each in row.newest)


def heard_words(row: NodeRow, reader: Reader, now: datetime) -> str:
    """When it was heard last, and what it lost."""
    ago = _long(max(0.0, (now - row.last_seen_at).total_seconds()))
    if is_foreign(row):
        return reader.say("heard {time} ago; nobody knows what of it was lost on the way", time=ago)
    if not row.lost_packs:
        return reader.say("heard {time} ago; nothing lost", time=ago)
    return reader.count(
        row.lost_packs,
        "heard {time} ago; {n} sent while out of reach was lost",
        "heard {time} ago; {n} sent while out of reach were lost",
        time=ago,
    )


def report_words(row: NodeRow, reader: Reader, now: datetime) -> tuple[str, str]:
    """How its sensors are and how it is itself, as it said in its last report."""
    if row.report is None or row.report_at is None:
        not_told = reader.say("not told")
        return not_told, not_told
    sensors, itself = sensors_text(row.report, reader), running_text(row.report, reader)
    age = now - row.report_at
    if age <= HEARD_GAP:
        return sensors, itself
    old = reader.say("{time} ago", time=duration_text(age.total_seconds() / 60.0))
    return f"{sensors} ({old})", f"{itself} ({old})"


def signal_words(dbm: float | None, reader: Reader) -> str:
    """How strongly it hears its network."""
    if dbm is None:
        return reader.say("not told: on a cable, or its radio is not asked")
    how = N_("good") if dbm >= GOOD_DBM else N_("weak") if dbm >= WEAK_DBM else N_("poor: readings may get lost")
    return f"{reader.say(how)}, {reader.number(dbm)} dBm"


def battery_words(volts: float | None, left_days: float | None, reader: Reader) -> str:
    """What feeds it, and for how long still when that is clear."""
    if volts is None:
        return reader.say("none told: fed by its supply")
    much = f"{reader.number(volts, 2)} V"
    if volts >= FED_V:
        return reader.say("fed with {volts}", volts=much)
    how = N_("good") if volts >= FULL_V else N_("getting low") if volts >= LOW_V else N_("charge it now")
    state = f"{reader.say(how)}, {much}"
    if left_days is None or left_days > LONGEST_DAYS:
        return state
    more = reader.count(round(left_days), "about {n} day left", "about {n} days left")
    return f"{state}, {more}"


def clock_words(heard: Hearing, reader: Reader) -> str:
    """How late readings arrive, and what the node's clock gains or loses."""
    if not heard.boot or heard.boot[-1] == NO_BOOT:
        return reader.say("not known")
    late_s = np.maximum(heard.arrived_s - heard.measured_s, 0.0)
    usual, worst = _span(float(np.median(late_s)), reader), _span(float(late_s.max()), reader)
    late = reader.say("readings come at once")
    if late_s.max() >= AT_ONCE_S:
        late = reader.say("readings come after {usual}, at worst {worst}", usual=usual, worst=worst)
    drift = drift_of(heard)
    if drift is None:
        return late
    doubt_s = SURE * drift.sd_s
    if abs(drift.gained_s) <= max(doubt_s, 1.0):
        most = reader.number(max(doubt_s, 1.0), 0 if doubt_s > 2.0 else 1)
        runs = reader.say("its clock is right within {seconds} s a day", seconds=most)
    else:
        much = reader.number(abs(drift.gained_s), 1)
        runs = reader.say(
            N_("its clock gains {seconds} s a day")
            if drift.gained_s > 0.0
            else N_("its clock loses {seconds} s a day"),
            seconds=much,
        )
    return f"{late}; {runs}"


def _span(seconds: float, reader: Reader) -> str:
    return f"{reader.number(seconds, 1)} s" if seconds < 10.0 else _long(seconds)


def _long(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 90.0 else duration_text(seconds / 60.0)


def gaps_words(gaps: Sequence[tuple[float, float]], reader: Reader, now: datetime) -> str:
    """How often it was not heard in the last day, and when for the longest time."""
    if not gaps:
        return reader.say("none in the last 24 h")
    start_s, end_s = max(gaps, key=lambda gap: gap[1] - gap[0])
    start, end = (clock_text(datetime.fromtimestamp(at, UTC), reader, now) for at in (start_s, end_s))
    return reader.count(
        len(gaps),
        "{n} in the last 24 h: {length}, {start} to {end}",
        "{n} in the last 24 h, the longest {length}, {start} to {end}",
        length=_long(end_s - start_s), start=start, end=end,
    )  # fmt: skip


def calibration_words(
    channels: Iterable[Channel], calibrations: Sequence[Calibration], reader: Reader, now: datetime
) -> list[str]:
    """For each channel that a node has: how long ago it was set right, and how sure that is."""
    words = []
    for channel in (each for each in SENSOR_CHANNELS if each in set(channels)):
        newest = next((each for each in calibrations if each.channel is channel), None)
        what = channel_word(channel, reader)
        if newest is None:
            words.append(reader.say("{what} never", what=what))
            continue
        days = max(0, (now.astimezone(reader.zone).date() - newest.at.astimezone(reader.zone).date()).days)
        age = reader.say("today") if days == 0 else reader.count(days, "{n} day ago", "{n} days ago")
        unit, sd = channel.unit, newest.sd
        if unit == "°C":
            unit, sd = reader.degree, sd * reader.degrees_per_kelvin
        words.append(f"{what} {age}, ±{reader.number(sd, 1)} {unit}")
    return words
