"""How a node is, in words: its signal, its battery, its clock, how long ago it was set right, its gaps. Pure.

A node has no calendar: it says how old each reading is, and the monitor counts back from when that arrived. So its
clock cannot be set wrong; it can run fast or slow, which shows in the moments of its readings (one each so many of its
own seconds), and what it says can arrive late.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from dashboard.drawing.strips import HEARD_GAP
from monitor.recipe.calibration import Calibration
from monitor.store.lookups import Hearing
from monitor.store.rows import NodeRow
from monitor.translatable import N_
from monitor.wire.readings import Channel
from monitor.wording.phrases import channel_word
from monitor.wording.reader import Reader
from monitor.wording.times import clock_text, duration_text

GOOD_DBM, WEAK_DBM = -67.0, -80.0  # common practice for wireless networks, no source; below the second packs get lost
FULL_V, LOW_V, EMPTY_V = 3.7, 3.5, 3.4  # judgement: a board of 3.3 V and its regulator stop at the last
FED_V = 4.4  # judgement: no lithium cell says so much; it is fed by a supply
BATTERY_LEAST_DAYS, BATTERY_SURE = 1.0, 4.0  # judgement: a slope is clear after a day, and at four times its own doubt
LONGEST_DAYS = 120.0
SURE = 2.0  # standard deviations of a drift either way
LEAST_S = 3600.0  # judgement: an hour of one boot is enough for a second a day or so
MOST_DRIFT = 1e-3  # judgement: no quartz, and no board's own oscillator that can be used, is worse
VAGUE_S_PER_DAY = 5.0  # judgement: doubt beyond which nothing is said
AT_ONCE_S = 1.0
DAY_S = 86400.0
STUCK_READINGS, STUCK_S = 60, 3600.0  # as monitor.health.nodes has it
CALIBRATED = {Channel.DISTANCE: "mm", Channel.DOUGH_TEMP: "°C", Channel.AIR_TEMP: "°C", Channel.HUMIDITY: "%"}


@dataclass(frozen=True, slots=True)
class Drift:
    """How much a node's clock gains, and the doubt of that, one standard deviation. [s a day]"""

    gained_s: float
    sd_s: float


def gaps_of(measured_s: NDArray[np.float64]) -> list[tuple[float, float]]:
    """The silences between readings: from and to, in seconds as they came."""
    silent = np.flatnonzero(np.diff(measured_s) > HEARD_GAP.total_seconds())
    return [(float(measured_s[at]), float(measured_s[at + 1])) for at in silent]


def drift_of(heard: Hearing) -> Drift | None:
    """How fast the clock of a node's newest boot runs against the monitor's; None when that cannot be told yet.

    Readings lie whole periods of the node's own clock apart, and a period is a whole number of seconds.
    """
    is_newest = np.array([boot == heard.boot[-1] for boot in heard.boot], dtype=np.bool_)
    at_s = heard.measured_s[is_newest]
    if at_s.size < 3 or at_s[-1] - at_s[0] < LEAST_S:
        return None
    steps_s = np.diff(at_s)
    period_s = float(round(float(np.median(steps_s))))
    if period_s < 1.0:
        return None
    counted_s = np.concatenate([[0.0], np.cumsum(np.round(steps_s / period_s))]) * period_s
    late_s = at_s - at_s[0] - counted_s
    kept = np.abs(late_s - np.median(late_s)) <= MOST_DRIFT * counted_s[-1]
    x, y = counted_s[kept] - counted_s[kept].mean(), late_s[kept]
    if x.size < 3 or not np.any(x):
        return None
    slope, sd = _slope(x, y)
    found = Drift(-slope * DAY_S, sd * DAY_S)
    return found if found.sd_s * SURE <= VAGUE_S_PER_DAY and abs(slope) <= MOST_DRIFT else None


def _slope(x: NDArray[np.float64], y: NDArray[np.float64]) -> tuple[float, float]:
    """Slope of a straight line through points whose ``x`` have no mean, and its standard deviation."""
    slope = float(np.sum(x * y) / np.sum(x * x))
    rest = y - y.mean() - slope * x
    return slope, float(np.sqrt(np.sum(rest * rest) / max(x.size - 2, 1) / np.sum(x * x)))


def days_left(battery: Hearing) -> float | None:
    """Days until a battery is empty at its pace so far; None when that pace is not clear."""
    if battery.value.size < 10 or np.ptp(battery.measured_s) < BATTERY_LEAST_DAYS * DAY_S:
        return None
    days = (battery.measured_s - battery.measured_s.mean()) / DAY_S
    slope, sd = _slope(days, battery.value)
    if slope >= 0.0 or -slope < BATTERY_SURE * sd:
        return None
    now_v = float(battery.value.mean() + slope * days[-1])
    return max(0.0, (now_v - EMPTY_V) / -slope)


def is_stuck(heard: Hearing, now: datetime) -> bool:
    """True when a channel has said the very same thing for an hour, at least sixty times."""
    newest = heard.value[heard.measured_s >= now.timestamp() - STUCK_S]
    return newest.size >= STUCK_READINGS and float(np.ptp(newest)) == 0.0


# -- words ------------------------------------------------------------------------------------------------------------


def state_words(row: NodeRow, reader: Reader, now: datetime) -> tuple[str, bool]:
    """Whether it is there, and True when that is well."""
    silent = now - row.last_seen_at
    if row.is_online is False:
        return reader.say("offline"), False
    if silent > HEARD_GAP:
        return reader.say("silent for {time}", time=duration_text(silent.total_seconds() / 60.0)), False
    return reader.say(N_("on a cable") if row.is_online is None else N_("online")), True


def heard_words(row: NodeRow, reader: Reader, now: datetime) -> str:
    """When it was heard last, and what it lost."""
    ago = _long(max(0.0, (now - row.last_seen_at).total_seconds()))
    if not row.lost_packs:
        return reader.say("heard {time} ago; nothing lost", time=ago)
    return reader.count(
        row.lost_packs,
        "heard {time} ago; {n} sent while out of reach was lost",
        "heard {time} ago; {n} sent while out of reach were lost",
        time=ago,
    )


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
    said = f"{reader.say(how)}, {much}"
    if left_days is None or left_days > LONGEST_DAYS:
        return said
    more = reader.count(round(left_days), "about {n} day left", "about {n} days left")
    return f"{said}, {more}"


def clock_words(heard: Hearing, reader: Reader) -> str:
    """How late readings arrive, and what the node's clock gains or loses."""
    if not heard.boot:
        return reader.say("not known")
    late_s = np.maximum(heard.arrived_s - heard.measured_s, 0.0)
    usual, worst = _span(float(np.median(late_s)), reader), _span(float(late_s.max()), reader)
    said = reader.say("readings come at once")
    if late_s.max() >= AT_ONCE_S:
        said = reader.say("readings come after {usual}, at worst {worst}", usual=usual, worst=worst)
    drift = drift_of(heard)
    if drift is None:
        return said
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
    return f"{said}; {runs}"


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
    said = []
    for channel in (each for each in CALIBRATED if each in set(channels)):
        newest = next((each for each in calibrations if each.channel is channel), None)
        what = channel_word(channel, reader)
        if newest is None:
            said.append(reader.say("{what} never", what=what))
            continue
        days = max(0, (now.astimezone(reader.zone).date() - newest.at.astimezone(reader.zone).date()).days)
        age = reader.say("today") if days == 0 else reader.count(days, "{n} day ago", "{n} days ago")
        unit, sd = CALIBRATED[channel], newest.sd
        if unit == "°C" and reader.temp_unit == "F":
            unit, sd = "°F", sd * 9.0 / 5.0
        said.append(f"{what} {age}, ±{reader.number(sd, 1)} {unit}")
    return said
