"""Nights in which clocks are put on or back, and the day that comes once in four years: against a walk by the minute.

Each night is walked minute by minute of UTC, and the zone's own rules say what its clock shows: that is what hours of
the program are held against.
"""

import time as machine_time
from collections import defaultdict
from datetime import UTC, date, datetime, time, timedelta
from itertools import groupby, pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import made_up_day
import pytest
from collector_bench import NODE, Bench, StepClock, batch, pack, pass_minutes

from monitor.alerts.calls import QuietHours, nights
from monitor.clock import CLEARLY_MOVED, SystemClock
from monitor.commands.plan import wanted_moment
from monitor.dough.outlook import Band, Moments, Outlook, State
from monitor.dough.track import Track
from monitor.errors import ConfigError
from monitor.plan.day import Plan
from monitor.plan.orders import Order
from monitor.plan.planner import make_plan
from monitor.plan.steps import steps
from monitor.recipe.batch import Batch
from monitor.store.store import Store
from monitor.wire.readings import Channel
from monitor.wording.reader import Reader
from monitor.wording.times import clock_text, date_words, next_time

MINUTE, DAY = timedelta(minutes=1), timedelta(days=1)
BERLIN, NEW_YORK, LORD_HOWE = (ZoneInfo(name) for name in ("Europe/Berlin", "America/New_York", "Australia/Lord_Howe"))
NIGHTS = {  # zone, day and by how many minutes its clocks are put on
    "berlin-back": (BERLIN, date(2026, 10, 25), -60),
    "berlin-on": (BERLIN, date(2027, 3, 28), 60),
    "new-york-back": (NEW_YORK, date(2026, 11, 1), -60),
    "new-york-on": (NEW_YORK, date(2027, 3, 14), 60),
    "lord-howe-back": (LORD_HOWE, date(2026, 4, 5), -30),
    "lord-howe-on": (LORD_HOWE, date(2026, 10, 4), 30),
    "berlin-29-february": (BERLIN, date(2028, 2, 29), 0),
}
EACH_NIGHT = pytest.mark.parametrize(("zone", "day", "put_on_min"), NIGHTS.values(), ids=NIGHTS)


def walked(zone: ZoneInfo, day: date) -> list[datetime]:
    """Every minute from noon before a day to the midnight after the next."""
    noon = datetime(day.year, day.month, day.day, 12, tzinfo=zone).astimezone(UTC) - DAY
    return [noon + n * MINUTE for n in range(60 * 61)]


@EACH_NIGHT
def test_no_two_moments_are_told_alike(zone: ZoneInfo, day: date, put_on_min: int) -> None:
    reader, minutes = Reader(zone), walked(zone, day)
    told = [clock_text(at, reader, minutes[0]) for at in minutes]
    assert len(set(told)) == len(told)
    assert sum("summer time" in words for words in told) == max(0, -put_on_min)


@EACH_NIGHT
def test_the_next_time_is_the_next_minute_at_which_the_clock_shows_it(
    zone: ZoneInfo, day: date, put_on_min: int
) -> None:
    shown: dict[time, list[datetime]] = defaultdict(list)
    minutes = walked(zone, day)
    for at in minutes:
        shown[at.astimezone(zone).time()].append(at)
    n_skipped = 0
    for clock in (time(hour, minute) for hour in (0, 1, 2, 3, 4, 12) for minute in (0, 10, 30, 50)):
        for after in minutes[: 24 * 60 : 10]:
            found = next_time(clock, after, zone)
            expected = next(at for at in shown[clock] if at > after)
            if found == expected:
                continue
            local = found.astimezone(zone)  # skipped that night: as much later as clocks were put on
            assert after < found < expected
            assert (local.date(), local.replace(tzinfo=None) - timedelta(minutes=put_on_min)) == (
                day, datetime.combine(day, clock),
            )  # fmt: skip
            n_skipped += 1
    assert (n_skipped > 0) is (put_on_min > 0)


@EACH_NIGHT
def test_quiet_hours_are_one_night_as_the_clock_shows_it(zone: ZoneInfo, day: date, put_on_min: int) -> None:
    quiet = QuietHours(time(22, 0), time(6, 0))
    minutes = walked(zone, day)[: 24 * 60]
    runs = [
        (is_quiet, [at for at, _ in run])
        for is_quiet, run in groupby(((at, quiet.covers(at, zone)) for at in minutes), key=lambda each: each[1])
    ]
    assert [is_quiet for is_quiet, _ in runs] == [False, True, False]
    night = runs[1][1]
    assert len(night) == 8 * 60 - put_on_min
    assert nights(quiet, minutes[-1], zone, 1) == [(night[0], night[-1] + MINUTE)]


def test_an_hour_of_the_hour_that_comes_twice_is_the_one_to_come() -> None:
    half_past_one = datetime(2026, 10, 24, 23, 30, tzinfo=UTC)  # in Berlin; 02:40 comes 70 and 130 minutes after
    for minutes, text, expected_min in ((0, "02:40", 70), (70, "02:30", 120), (120, "02:40", 130), (130, "02:50", 140)):
        now = half_past_one + minutes * MINUTE
        assert wanted_moment(text, now, BERLIN) == half_past_one + expected_min * MINUTE
        assert wanted_moment(f"today {text}", now, BERLIN) == half_past_one + expected_min * MINUTE
    with pytest.raises(ConfigError, match="over"):
        wanted_moment("today 02:30", half_past_one + 125 * MINUTE, BERLIN)
    assert wanted_moment("02:30", half_past_one + 125 * MINUTE, BERLIN) == half_past_one + 120 * MINUTE + DAY


@pytest.mark.parametrize("name", ["berlin-back", "berlin-on"])
def test_a_plan_over_the_night_keeps_its_cold_hours_and_its_hands_their_sleep(name: str) -> None:
    zone, day, _ = NIGHTS[name]
    kitchen = made_up_day.replace(made_up_day.KITCHEN, hands_from=time(6, 0), hands_until=time(21, 0))
    recipe = made_up_day.recipe()
    spans, clocks = [], []
    for out_on in (day - 7 * DAY, day):
        out_at = datetime(out_on.year, out_on.month, out_on.day, 14, 0, tzinfo=zone).astimezone(UTC)
        plan = make_plan((Order(recipe, out_at),), kitchen, out_at - 2 * DAY, zone)
        assert isinstance(plan, Plan)
        begun = [(step.at, step.at + timedelta(minutes=step.hands_min)) for step in steps(plan) if step.hands_min]
        clocks += [at.astimezone(zone).time() for both in begun for at in both]
        spans.append([stage.ends_at - stage.begins_at for stage in plan.doughs[0].stages])
        assert plan.doughs[0].out_at == out_at
    assert spans[0][0] >= timedelta(hours=23)
    assert all(time(6, 0) <= clock <= time(21, 0) for clock in clocks)
    assert abs(spans[1][0] - spans[0][0]) <= timedelta(hours=1)


def calls_of(store: Store, start: datetime, reader: Reader) -> list[tuple[str, str, timedelta]]:
    """What a collector calls in four hours of which the third is the one in which clocks change."""
    bench = Bench(store, StepClock(start), reader)
    ready = start + timedelta(minutes=150)
    running = store.batches.add(batch(started_at=start, preheat_min=30.0))

    def answer(asked: Batch, track: Track, at: datetime) -> Outlook:
        moments = Moments(*(ready + n * MINUTE for n in (-10, -5, 0, 5, 10)))
        rise = 75.0 * (at - start) / (ready - start)
        state = State.READY if at >= ready else State.RISING
        return Outlook(at, state, Band(rise - 2, rise, rise + 2), ready=moments, last_reading_at=at)

    bench.answer = answer

    def hear(minute: int) -> None:
        if not 190 <= minute < 225:
            bench.frame(pack(minute + 1, age_s=3.0))

    pass_minutes(bench, 240, each=hear)
    heard = store.readings.between(NODE, Channel.AIR_TEMP, start - DAY, start + DAY)
    assert [(each.measured_at - start + timedelta(seconds=3)) / MINUTE for each in heard] == [
        *range(190), *range(225, 240),
    ]  # fmt: skip
    assert {each.about for each in store.nodes.faults()} == set()
    assert running.started_at == start
    return [(each.kind.value, each.text, each.created_at - start) for each in store.outbox.messages()]


@pytest.mark.long
@pytest.mark.parametrize("name", ["berlin-back", "new-york-on", "lord-howe-back"])
def test_a_running_collector_calls_as_in_any_night(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    zone, day, put_on_min = NIGHTS[name]
    monkeypatch.setenv("TZ", zone.key)
    machine_time.tzset()
    try:
        change = next(
            later
            for at, later in pairwise(walked(zone, day))
            if at.astimezone(zone).utcoffset() != later.astimezone(zone).utcoffset()
        )
        with Store(tmp_path / "change.sqlite") as store:
            found = calls_of(store, change - timedelta(minutes=140), Reader(zone))
        with Store(tmp_path / "other.sqlite") as store:
            other = calls_of(store, change - timedelta(minutes=140) - 7 * DAY, Reader(zone))
    finally:
        monkeypatch.undo()
        machine_time.tzset()
    assert [(kind, after) for kind, _, after in found] == [(kind, after) for kind, _, after in other]
    assert {"ready", "ready soon", "oven on", "node silent"} <= {kind for kind, *_ in found}
    assert any("winter time" in text for _, text, _ in found) is (put_on_min < 0)


def test_the_day_that_comes_once_in_four_years_is_told_as_a_day() -> None:
    evening = datetime(2028, 2, 28, 22, 0, tzinfo=UTC)
    reader = Reader(UTC)
    assert clock_text(evening + timedelta(hours=8), reader, evening) == "tomorrow 06:00"
    assert clock_text(evening + timedelta(hours=32), reader, evening) == "Wednesday 06:00"
    assert date_words(evening + timedelta(hours=8), reader) == "Tuesday 2028-02-29"
    assert wanted_moment("2028-02-29 12:30", evening, UTC) == datetime(2028, 2, 29, 12, 30, tzinfo=UTC)
    with pytest.raises(ConfigError):
        wanted_moment("2029-02-29 12:30", evening, UTC)


def test_a_leap_second_smeared_over_a_day_or_set_at_once_is_no_clock_that_was_moved(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    midnight, since_s = datetime(2027, 1, 1, tzinfo=UTC), [0.0]
    for smear_s in (86_400.0, 1e-9):  # from noon to noon as time servers do it, or the second told twice
        monkeypatch.setattr("monitor.clock._since_boot_s", lambda: since_s[0])
        monkeypatch.setattr("monitor.clock.wall_clock", lambda: midnight)
        clock, moments = SystemClock(), []
        for since_s[0] in range(0, 90_000, 600):
            wall = midnight + timedelta(seconds=since_s[0] - min(1.0, since_s[0] / smear_s))
            monkeypatch.setattr("monitor.clock.wall_clock", lambda wall=wall: wall)
            moments.append(clock.now())
            assert abs(clock.moved()) <= timedelta(seconds=1) < CLEARLY_MOVED
        assert all(later - earlier == timedelta(seconds=600) for earlier, later in pairwise(moments))
        since_s[0] = 0.0
