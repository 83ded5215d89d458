"""Which calls a night brought, which of them were false, and which moments passed without any.

The outlooks of a night are worked out once and kept by the versions of estimator and simulators; the alert rules are
then replayed over them, so that a rule is judged within seconds. A call is *false* when what it states is untrue by the
simulator at that moment:

- *ready*: the dough has not come to its target, less ``BAND_POINTS``, and will not within ten minutes; for one that
  waits for its peak: it is not near its greatest volume;
- what foretells a moment (*ready soon*, *oven on*, *at its peak*): that moment lies outside the interval told, and more
  than ten minutes from the time told;
- *past its peak*: it has still to gain, or has not come near its greatest volume;
- *over the band*: it stands less than ``BAND_POINTS`` over it; *not rising*: it lives and has risen ``RISEN_PCT``;
- *view blocked*, *level jumped*: no lid, water, hand or blind zone is there, or the tub was never moved;
- air: it is not as told, or not beyond what ``BORNE_C`` has for such a dough; a dough said to be covered does not dry.

Nobody answers, so what wakes rings again, as the rules of calls have it (``monitor.alerts.calls``): each five minutes,
for an hour, while its alert stands. A call is judged once, as it is first said.

A moment is *missed* when the dough comes to what its stage waits for and in the ten minutes before or after nothing
about its course rings that is true then. Who looks no further than first calls finds more of them missed: these are
counted too.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from accuracy.recorded import version_of_estimator
from calls.kitchens import Night, Place

from firmware_sim.bench.troubles import TroubleKind
from firmware_sim.doughs.catalogue import KINDS
from monitor.alerts.calls import Call, CallRules, Next, OpenMessage, decide
from monitor.alerts.dough import COURSE_KINDS, Alert, AlertKind, Facts, Message, Rules, step
from monitor.archive.replay import known_at
from monitor.backtest.recordings import Recording, load_recording
from monitor.dough.forecast import ForecastRequest, outlook, outlooks
from monitor.dough.outlook import Moments, Outlook
from monitor.dough.track import last_seen, seconds_since_start
from monitor.recipe.batch import Batch, Event, EventKind
from monitor.store.rows import from_json, to_json
from monitor.wire.readings import SENSOR_CHANNELS, NodeId

CALL_RULES = CallRules()
NODE = NodeId("urn:dev:mac:020000fffe5e0001")
LOOK_MIN, MOST_LOOKS = 2.0, 300  # a look each two minutes, rarer in a night that is longer than ten hours
STANDS_S = 2.0 * 3600.0  # judgement: so long after its peak even a forgotten dough is found
TOGETHER = 16
NEAR = timedelta(minutes=10)
BAND_POINTS = 5.0  # judgement: what a baker cannot see on the tub's wall [% of rise]
NEAR_PEAK = 0.02  # judgement: of its greatest volume, the same for a peak
LEAST_S = 900.0  # what comes sooner than that after the start is not judged
RISEN_PCT = 5.0
BITES_FROM = 0.4  # of the target: a little under where a simulated blind zone begins
DRY_BELOW_PCT = 78.0  # judgement: damper air takes hours to make a skin
# Above this the air is too warm for such a dough, by its true flour and place, as the rules have it: so it is counted
# whether a call fits the true air, not whether the limits are right. [C]
BORNE_C = {"final proof": 46.0, "rye": 36.0, "sour": 32.0, "proofer": 40.0, "other": 35.0, "cold": 7.0}
COLD_BELOW_C = 18.0
AIR_DOUBT_C = 0.5  # judgement: of a node's reading


@dataclass(frozen=True, slots=True)
class Called:
    """One call: when [s after the start], what, and whether it was false; when it rang again and was true."""

    at_s: float
    kind: str
    is_false: bool
    rise_pct: float
    again_s: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class NightFound:
    """What a night brought.

    Attributes
    ----------
    awaited_s
        When the dough came to what its stage waits for; None: never, or at once.
    is_missed
        Nothing true rang within ten minutes of that.
    is_first_missed, is_missed_widely
        Nothing was called for the first time by then; nor while the dough stood within ``BAND_POINTS`` of its target,
        or within ``NEAR_PEAK`` of its greatest volume.
    first_lead_min
        How long before it the first call about its course came; negative: after it. [min]
    """

    name: str
    labels: dict[str, str]
    called: tuple[Called, ...]
    awaited_s: float | None
    is_missed: bool
    is_first_missed: bool
    is_missed_widely: bool
    first_lead_min: float | None


def _watched(night: Night, recording: Recording) -> Batch:
    """The batch as the collector would have it."""
    kept = [event for event in recording.batch.events if event.kind is not EventKind.MOVE]
    start = recording.batch.started_at
    said = [Event(start + after, EventKind.MOVE, where) for after, where in night.moves()]
    said += [Event(start, EventKind.COVER)] if night.is_covered else []
    channels = tuple(
        (channel, NODE) for channel in SENSOR_CHANNELS if channel in last_seen(recording.batch, recording.track)
    )
    return replace(recording.batch, events=tuple(sorted([*kept, *said], key=lambda event: event.at)), nodes=channels)


def _looks(batch: Batch, end_s: float) -> list[datetime]:
    step_s = max(60.0 * LOOK_MIN, end_s / MOST_LOOKS)
    return [batch.started_at + timedelta(seconds=at_s) for at_s in np.arange(step_s, end_s, step_s)]


def _outlooks(night: Night, recording: Recording, batch: Batch, kept: Path, look_min: float) -> list[Outlook]:
    path = kept / f"{night.name}.json"
    if path.is_file():
        return [from_json(line, Outlook) for line in path.read_text(encoding="utf-8").splitlines()]
    last_s = recording.track.last_t_s or 0.0
    if night.order.is_live:
        last_s = min(last_s, recording.peak_s + STANDS_S)
    looks = _looks(batch, last_s)
    looks = looks[:: max(1, round(look_min / LOOK_MIN))]
    found: list[Outlook] = []
    for first in range(0, len(looks), TOGETHER):
        asked = [ForecastRequest(known_at(batch, at), recording.track, at) for at in looks[first : first + TOGETHER]]
        found += [replace(each, fan=()) for each in outlooks(asked)]
    kept.mkdir(parents=True, exist_ok=True)
    path.write_text("".join(f"{to_json(each)}\n" for each in found), encoding="utf-8")
    return found


@dataclass(frozen=True)
class Truth:
    """What truly became of the dough of a night."""

    night: Night
    recording: Recording
    batch: Batch

    def rise_pct(self, at_s: float) -> float:
        return float(np.interp(at_s, self.recording.rise_t_s, self.recording.rise_pct))

    def highest_pct(self, from_s: float = 0.0) -> float:
        """The greatest rise from a moment on."""
        after = self.recording.rise_pct[self.recording.rise_t_s >= from_s]
        return float(np.max(after, initial=self.rise_pct(from_s)))

    @property
    def awaited_s(self) -> float:
        return self.recording.peak_s if self.batch.target.is_peak else self.recording.ready_s

    def moment_s(self, is_peak: bool) -> float:
        return self.recording.peak_s if is_peak else self.awaited_s

    def is_near_peak(self, at_s: float) -> bool:
        """True when the dough is within a little of the greatest volume it ever has, or that is minutes away."""
        lacks = 1.0 - (100.0 + self.rise_pct(at_s)) / (100.0 + self.highest_pct(self.recording.last_fold_s))
        return abs(at_s - self.recording.peak_s) <= NEAR.total_seconds() or lacks <= NEAR_PEAK

    def has_reached(self, at_s: float) -> bool:
        target_pct = self.batch.target.rise_pct
        if target_pct is None:
            return self.is_near_peak(at_s)
        soon_s = np.linspace(at_s, at_s + NEAR.total_seconds(), 6)
        is_there = self.rise_pct(at_s) >= target_pct - BAND_POINTS or at_s >= self.recording.ready_s
        return is_there or any(self.rise_pct(float(each)) >= target_pct for each in soon_s)

    def foretold(self, told: Moments, at_s: float, *, is_peak: bool) -> bool:
        """True when what is told comes in the interval told, or near the time told."""
        if at_s < self.recording.last_fold_s:  # nobody can know of a fold to come
            return True
        true_s = self.moment_s(is_peak)
        if told.p50 is None or not np.isfinite(true_s):
            return False
        low, middle, high = (
            np.inf if at is None else seconds_since_start(self.batch, at) for at in (told.p05, told.p50, told.p95)
        )
        return low <= true_s <= high or abs(true_s - max(middle, at_s)) <= NEAR.total_seconds()

    def air_c(self, at_s: float) -> float:
        return self.night.air.temp_c(at_s)

    def borne_c(self, at_s: float) -> float:
        """How warm the air may be for this dough where it stands."""
        order = self.night.order
        recipe = KINDS[order.dough].recipe
        where = [name for after, name in self.night.moves() if after.total_seconds() <= at_s]
        if where and where[-1] == "refrigerator":
            return BORNE_C["cold"]
        if recipe.sourdough_pct:
            return BORNE_C["rye" if recipe.kind == "rye" else "sour"]
        if recipe.stage == "final proof":
            return BORNE_C["final proof"]
        return BORNE_C["proofer" if self.night.place is Place.PROOFER else "other"]

    def is_blocked(self, at_s: float) -> bool:
        hiding = (TroubleKind.LID, TroubleKind.CONDENSATION, TroubleKind.HAND)
        hides = any(one.kind in hiding and one.covers(at_s) for one in self.night.order.troubles)
        return hides or self._is_too_near(at_s)

    def _is_too_near(self, at_s: float) -> bool:
        """True when the dough may have come to the sensor's blind zone: it bites at half of the target or above."""
        has_zone = any(one.kind is TroubleKind.BLIND_ZONE for one in self.night.order.troubles)
        return has_zone and self.rise_pct(at_s) > BITES_FROM * (self.batch.target.rise_pct or self.highest_pct())

    def is_moved(self, at_s: float) -> bool:
        return any(one.kind is TroubleKind.MOVED_TUB and one.start_s <= at_s for one in self.night.order.troubles)

    def states(self, alert: Alert, seen: Outlook) -> bool:
        """True when what an alert states is so."""
        at_s = seconds_since_start(self.batch, seen.at)
        match alert.kind:
            case AlertKind.FOLD_DUE:
                return bool(self.batch.folds_min)
            case AlertKind.READY:
                return self.has_reached(at_s)
            case AlertKind.READY_SOON | AlertKind.OVEN_ON:
                return self.has_reached(at_s) or self.foretold(seen.ready, at_s, is_peak=self.batch.target.is_peak)
            case AlertKind.AT_PEAK:
                return self.is_near_peak(at_s) or self.foretold(seen.peak, at_s, is_peak=True)
            case AlertKind.OVER_BAND:
                return self.rise_pct(at_s) >= (self.batch.target.rise_pct or 0.0) + BAND_POINTS
            case AlertKind.NOT_RISING:
                return not self.night.order.is_live or self.rise_pct(at_s) < RISEN_PCT
            case AlertKind.VIEW_BLOCKED:
                return self.is_blocked(at_s)
            case AlertKind.LEVEL_JUMPED:
                return self.is_moved(at_s)
            case AlertKind.PAST_PEAK:
                gains = (100.0 + self.highest_pct(at_s)) / (100.0 + self.rise_pct(at_s)) - 1.0
                return at_s >= self.recording.peak_s - NEAR.total_seconds() or gains <= NEAR_PEAK
            case AlertKind.AIR_TOO_WARM:
                return self.air_c(at_s) > self.borne_c(at_s) - AIR_DOUBT_C
            case AlertKind.AIR_TOO_COLD:
                return self.air_c(at_s) < (-4.0 if self.borne_c(at_s) == BORNE_C["cold"] else COLD_BELOW_C)
            case AlertKind.AIR_TOO_DRY:
                return not self.night.is_covered and self.night.air.humidity_pct(at_s) < DRY_BELOW_PCT
        raise ValueError(f"{alert.kind} is not judged")


@dataclass(slots=True)
class Told:
    """An alert that was called, the outlook it was first called by, and each look at which it rang."""

    alert: Alert
    seen: Outlook
    calls: list[Call]

    def ring(self, alert: Alert, now: datetime) -> None:
        """Ring again if the rules of calls say so; somebody takes each call, and answers none."""
        message = Message(alert.message_id, alert.subject.batch_id, alert.kind, alert.episode, "", "", self.seen.at)
        waited_min = (now - self.calls[-1].at) / timedelta(minutes=1) if self.calls else 0.0
        if decide(CALL_RULES, OpenMessage(message, alert, self.calls, waited_min), 1, now, UTC).do is Next.CALL:
            self.calls.append(Call(message.id, len(self.calls) + 1, "baker", now, now))


def replayed(batch: Batch, recording: Recording, seen: Sequence[Outlook], rules: Rules) -> list[Told]:
    """What the rules make of the outlooks of a night, in the order in which it was first called."""
    alerts: tuple[Alert, ...] = ()
    told: dict[str, Told] = {}
    for each in seen:
        known = recording.track.upto(seconds_since_start(batch, each.at))
        facts = Facts(known_at(batch, each.at), each, each.at, last_seen(batch, known))
        update = step(rules, alerts, facts)
        alerts = update.alerts
        told |= {alert.message_id: Told(alert, each, []) for alert in update.calls}
        for alert in alerts:
            if alert.message_id in told:
                told[alert.message_id].ring(alert, each.at)
    return list(told.values())


def judged(night: Night, cache: Path, look_min: float = LOOK_MIN) -> NightFound:
    """One night, recorded, foretold, replayed and judged."""
    recording = load_recording(night.recorded_in(cache), outlook)
    batch = _watched(night, recording)
    seen = _outlooks(night, recording, batch, cache / f"{version_of_estimator()}-{look_min:g}", look_min)
    truth = Truth(night, recording, batch)
    at = {each.at: each for each in seen}
    called = tuple(
        Called(
            seconds_since_start(batch, told.seen.at),
            told.alert.kind.value,
            not truth.states(told.alert, told.seen),
            round(truth.rise_pct(seconds_since_start(batch, told.seen.at)), 1),
            tuple(
                seconds_since_start(batch, call.at) for call in told.calls[1:] if truth.states(told.alert, at[call.at])
            ),
        )
        for told in replayed(batch, recording, seen, Rules())
    )
    course = [one for one in called if one.kind in {kind.value for kind in COURSE_KINDS}]
    course_s = [one.at_s for one in course]
    rung_s = [at_s for one in course for at_s in (*([] if one.is_false else [one.at_s]), *one.again_s)]
    awaited_s = truth.awaited_s
    is_judged = night.order.is_live and LEAST_S <= awaited_s < np.inf

    def is_passed_by(all_s: Sequence[float]) -> bool:
        return is_judged and not any(abs(at_s - awaited_s) <= NEAR.total_seconds() for at_s in all_s)

    is_first_missed = is_passed_by(course_s)
    target_pct = batch.target.rise_pct

    def is_close(at_s: float) -> bool:
        return truth.is_near_peak(at_s) if target_pct is None else abs(truth.rise_pct(at_s) - target_pct) <= BAND_POINTS

    order = night.order
    return NightFound(
        name=night.name,
        labels={
            "simulator": night.simulator,
            "place": night.place.value,
            "kind": KINDS[order.dough].recipe.kind,
            "judged by": "peak" if target_pct is None else "rise",
            "life": "live" if order.is_live else "lifeless",
            "trouble": "; ".join(dict.fromkeys(one.kind.value for one in order.troubles)) or "none",
        },
        called=called,
        awaited_s=awaited_s if is_judged else None,
        is_missed=is_passed_by(rung_s),
        is_first_missed=is_first_missed,
        is_missed_widely=is_first_missed and not any(map(is_close, course_s)),
        first_lead_min=(awaited_s - min(course_s)) / 60.0 if is_judged and course_s else None,
    )
