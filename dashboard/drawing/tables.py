"""What the store holds -> tables: those that charts draw, thinned and worded, and those that are saved, in full. Pure.

Charts get times in milliseconds since 1970. A saved table has UTC and, beside it, the reader's own clock with its
offset, both as ISO 8601, so that an hour that a clock goes through twice stays two hours; units stand in the names of
its columns.
"""

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from tsdownsample import MinMaxLTTBDownsampler

from dashboard.drawing.time_axis import ms
from monitor.dough.air import dew_point_c
from monitor.dough.outlook import Band, Moments, Outlook
from monitor.dough.track import EMPTY, Series
from monitor.recipe.batch import Event
from monitor.units import fahrenheit
from monitor.wording.alerts import about_text, clock_text
from monitor.wording.reader import Reader

CURVE_POINTS = 300  # of one curve, each drawn anew in the browser at every refresh; three pixels each. Judgement
MAX_POINTS = 2000  # a series: more than any screen has pixels across
NEAR_S = 120.0  # judgement: air and humidity measured further apart are not of the same air
DECIMALS = 4  # of a number in a saved table: more than any sensor here can tell
GAP = timedelta(minutes=15)  # judgement: a line is not drawn across a longer silence


Array = npt.NDArray[np.float64]


def calendar_ms(at: datetime, tz: tzinfo | None) -> float:
    """A moment as a zone's clock shows it, read as if it were UTC: for a chart of days, where the date counts. [ms]"""
    return ms(at.astimezone(tz).replace(tzinfo=UTC))


def thinned(frame: pd.DataFrame, most: int = MAX_POINTS) -> pd.DataFrame:
    """At most ``most`` rows, evenly taken, the first and the last always among them."""
    if len(frame) <= most:
        return frame
    picks = [round(k * (len(frame) - 1) / (most - 1)) for k in range(most)]
    return frame.iloc[picks].reset_index(drop=True)


def silences(at_ms: Array, gap: timedelta = GAP) -> Array:
    """Moments inside each longer silence between readings, in order. [ms]"""
    return at_ms[1:][np.diff(at_ms) > gap.total_seconds() * 1000.0] - 1.0


def broken(frame: pd.DataFrame, silent_ms: Array) -> pd.DataFrame:
    """The table with an empty row at each of some moments, so that no line crosses it."""
    if not silent_ms.size:
        return frame
    return pd.concat([frame, pd.DataFrame({"at": silent_ms})]).sort_values("at", ignore_index=True)


def rise_frame(outlooks: Iterable[Outlook], reader: Reader) -> pd.DataFrame:
    """Rise with its interval, as it was known at each moment: ``at low mid high words``. [ms, %]"""
    known = sorted(
        ((ms(outlook.at), outlook.rise_pct) for outlook in outlooks if outlook.rise_pct is not None),
        key=lambda row: row[0],
    )
    at = np.array([at_ms for at_ms, _ in known], dtype=np.float64)
    kept = _picks(at, np.array([band.p50 for _, band in known], dtype=np.float64), CURVE_POINTS)
    rows = [
        (at_ms, band.p05, band.p50, band.p95, _band_words(band, reader)) for at_ms, band in (known[k] for k in kept)
    ]
    return broken(pd.DataFrame(rows, columns=["at", "low", "mid", "high", "words"]), silences(at))


def fan_frame(outlook: Outlook | None, reader: Reader) -> pd.DataFrame:
    """The forecast of one outlook: ``at p05 p25 p50 p75 p95 words``. [ms, %]"""
    points = () if outlook is None else outlook.fan
    rows = [(ms(p.at), p.p05, p.p25, p.p50, p.p75, p.p95, _fan_words(p.p05, p.p95, reader)) for p in points]
    return thinned(pd.DataFrame(rows, columns=["at", "p05", "p25", "p50", "p75", "p95", "words"]))


def keeping_peaks(series: Series, most: int = CURVE_POINTS) -> Series:
    """At most ``most`` points of a series, chosen so that its curve looks the same: no peak or dip is lost."""
    known = np.isfinite(series.value)
    t_s, value, sd = series.t_s[known], series.value[known], series.sd[known]
    kept = _picks(t_s, value, most)
    return Series(t_s[kept], value[kept], sd[kept])


def _picks(at: Array, value: Array, most: int) -> npt.NDArray[np.intp]:
    """The places of at most ``most`` points that make the same curve: no peak or dip is lost, both ends are kept."""
    if at.size <= most:
        return np.arange(at.size, dtype=np.intp)
    picks = MinMaxLTTBDownsampler().downsample(at, value, n_out=most)  # type: ignore[no-untyped-call]  # the library has no types
    return np.asarray(picks, dtype=np.intp)


def series_frame(started_at: datetime, series: Mapping[str, Series]) -> pd.DataFrame:
    """Some series, each by its name, over time: ``at value what``. [ms]"""
    frames = []
    for what, one in series.items():
        drawn = keeping_peaks(one)
        frame = pd.DataFrame({"at": ms(started_at) + 1000.0 * drawn.t_s, "value": drawn.value})
        measured_ms = ms(started_at) + 1000.0 * one.t_s[np.isfinite(one.value)]
        frames.append(broken(frame, silences(measured_ms)).assign(what=what))
    return pd.concat(frames, ignore_index=True)


def dew_point_series(air_temp_c: Series, humidity_pct: Series) -> Series:
    """Dew point of the air wherever its warmth [C] was measured close to its humidity [%]. [C]"""
    if not (air_temp_c.t_s.size and humidity_pct.t_s.size):
        return EMPTY
    known = np.isfinite(humidity_pct.value) & (humidity_pct.value > 0.0)
    at_s = humidity_pct.t_s[known]
    if not at_s.size:
        return EMPTY
    after = np.clip(np.searchsorted(at_s, air_temp_c.t_s), 0, at_s.size - 1)
    before = np.clip(after - 1, 0, None)
    apart_s = np.minimum(np.abs(at_s[after] - air_temp_c.t_s), np.abs(at_s[before] - air_temp_c.t_s))
    is_near = apart_s <= NEAR_S
    humidity = np.interp(air_temp_c.t_s, at_s, humidity_pct.value[known])
    value = np.asarray(dew_point_c(air_temp_c.value, humidity), dtype=np.float64)
    return Series(air_temp_c.t_s[is_near], value[is_near], air_temp_c.sd[is_near])


def in_unit(series: Series, unit: str) -> Series:
    """A series of temperatures [C] in the unit of a chart."""
    if unit != "°F":
        return series
    return Series(series.t_s, np.array([fahrenheit(float(value)) for value in series.value]), series.sd)


def worded(frame: pd.DataFrame, unit: str, reader: Reader) -> pd.DataFrame:
    """The table with what a pointer on a line says in ``words``; temperatures in C turn into ``unit`` first."""
    values = [fahrenheit(float(value)) if unit == "°F" else float(value) for value in frame["value"]]
    words = [f"{what} {reader.number(value, 1)} {unit}" for what, value in zip(frame["what"], values, strict=True)]
    return frame.assign(value=values, words=words)


def event_frame(events: Iterable[tuple[Event, str]], reader: Reader) -> pd.DataFrame:
    """What the baker did, with the word for each: ``at what words``."""
    rows = [(ms(event.at), what, f"{clock_text(event.at, reader)} {what}") for event, what in events]
    return pd.DataFrame(rows, columns=["at", "what", "words"])


def forecast_frame(outlooks: Iterable[Outlook], reader: Reader, *, last: datetime | None = None) -> pd.DataFrame:
    """When it was said to be ready, each time it was said: ``at early mid late words``. [ms]

    Forecasts made after ``last`` (the moment it came) are hindsight and are left out. A quantile that was never given
    stays empty.
    """
    rows = []
    for outlook in outlooks:
        if last is not None and outlook.at > last:
            continue
        moments = outlook.ready
        rows.append((ms(outlook.at), *moments_ms(moments), _ready_words(outlook, reader)))
    frame = pd.DataFrame(rows, columns=["at", "early", "mid", "late", "words"]).sort_values("at", ignore_index=True)
    return thinned(frame)


def moments_ms(moments: Moments) -> tuple[float | None, float | None, float | None]:
    """Early, middle and late of a moment. [ms]"""
    early, mid, late = (None if at is None else ms(at) for at in (moments.p05, moments.p50, moments.p95))
    return early, mid, late


def _ready_words(outlook: Outlook, reader: Reader) -> str:
    about = about_text(outlook.ready, reader, outlook.at)
    return f"{clock_text(outlook.at, reader)}: " + (reader.say("no forecast") if about is None else about)


def _band_words(band: Band, reader: Reader) -> str:
    low, high = f"{band.p05:.0f}", f"{band.p95:.0f}"
    return reader.say("{middle} % ({low} to {high})", middle=f"{band.p50:.0f}", low=low, high=high)


def _fan_words(low: float, high: float, reader: Reader) -> str:
    return reader.say("between {low} and {high} %", low=f"{low:.0f}", high=f"{high:.0f}")


# -- tables that are saved ---------------------------------------------------------------------------------------------


def clocks(moments: Iterable[datetime | None], name: str, zone: tzinfo | None) -> dict[str, Any]:
    """Two columns of some moments: UTC, and the reader's clock with its offset."""
    ats = list(moments)
    return {
        f"{name}_utc": pd.Series(ats, dtype="datetime64[us, UTC]"),
        f"{name}_local": [None if at is None else at.astimezone(zone).isoformat(timespec="seconds") for at in ats],
    }


_RISE = ("rise_p05_pct", "rise_p25_pct", "rise_p50_pct", "rise_p75_pct", "rise_p95_pct")


def rise_table(
    outlooks: Iterable[Outlook],
    forecasts: Mapping[str, Outlook | None],
    events: Iterable[tuple[Event, str]],
    zone: tzinfo | None,
) -> pd.DataFrame:
    """Rise as it was estimated at each moment, some forecasts by name, and what was done; ``what`` tells which."""
    rows: list[tuple[datetime, str, tuple[float | None, ...], str]] = []
    for outlook in outlooks:
        band = outlook.rise_pct
        if band is not None:
            rows.append((outlook.at, "estimated", (band.p05, None, band.p50, None, band.p95), ""))
    for event, word in events:
        is_said = not event.note or event.value is not None  # a number stands in the word
        rows.append((event.at, "done", (None,) * 5, word if is_said else f"{word}: {event.note}"))
    for what, forecast in forecasts.items():
        fan = () if forecast is None else forecast.fan
        rows += [(p.at, what, (p.p05, p.p25, p.p50, p.p75, p.p95), "") for p in fan]
    return pd.DataFrame(
        {
            **clocks([at for at, *_ in rows], "at", zone),
            "what": [what for _, what, *_ in rows],
            **{name: _numbers([values[k] for *_, values, _ in rows]) for k, name in enumerate(_RISE)},
            "note": [note or None for *_, note in rows],
        }
    )


def series_table(started_at: datetime, series: Mapping[str, Series], zone: tzinfo | None) -> pd.DataFrame:
    """Some series side by side over time; their names carry the unit, an empty cell was not measured then."""
    whole: dict[str, pd.Series[float]] = {}
    for name, one in series.items():
        known = np.isfinite(one.value)
        ms = np.round(one.t_s[known] * 1000.0).astype(np.int64)
        found = pd.Series(np.round(one.value[known], DECIMALS), index=ms)
        whole[name] = found[~found.index.duplicated(keep="last")]
    joined = pd.DataFrame(whole).sort_index()
    ats = [started_at + timedelta(milliseconds=int(ms)) for ms in joined.index]
    return pd.DataFrame({**clocks(ats, "at", zone), **{name: joined[name].to_numpy() for name in series}})


def forecast_table(outlooks: Iterable[Outlook], zone: tzinfo | None) -> pd.DataFrame:
    """Every forecast of *ready* and of the peak, with when it was made."""
    made = list(outlooks)
    columns = clocks([outlook.at for outlook in made], "said", zone)
    for name, moments in (("ready", [each.ready for each in made]), ("peak", [each.peak for each in made])):
        for share in ("p05", "p25", "p50", "p75", "p95"):
            columns |= clocks([_moment(each, share) for each in moments], f"{name}_{share}", zone)
    return pd.DataFrame(columns)


def _moment(moments: Moments, share: str) -> datetime | None:
    found: datetime | None = getattr(moments, share)
    return found


def rows_table(columns: Iterable[str], rows: Iterable[tuple[Any, ...]]) -> pd.DataFrame:
    """Any rows under the names of their columns; numbers to the decimals of a table."""
    frame = pd.DataFrame(list(rows), columns=list(columns))
    return frame.round(DECIMALS)


def _numbers(values: list[float | None]) -> "pd.Series[float]":
    return pd.Series(values, dtype="float64").round(DECIMALS)
