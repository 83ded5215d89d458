"""What each alert looks for in the facts: one function a kind, giving whether it begins, ends, or neither."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from monitor.alerts.alert import Alert, Facts, Rules
from monitor.alerts.kinds import AlertKind
from monitor.alerts.limits import (
    DRYING_ENDS_PA,
    DRYING_STARTS_PA,
    HYSTERESIS_C,
    AirLimits,
    air_limits,
)
from monitor.alerts.reasons import (
    AirAgainstLimit,
    DoughFalls,
    LoadingNotNear,
    NotReadyYet,
    OvenNeedsTime,
    PeakAheadAgain,
    PeakLikely,
    PeakReached,
    ReadyExpected,
    ReadyNotNear,
    Reason,
    SkinDrying,
    TargetReached,
)
from monitor.dough.air import skin_state
from monitor.dough.outlook import Moments, Outlook, State
from monitor.recipe.batch import EventKind, Stage
from monitor.wire.readings import PLAUSIBLE, SENSOR_CHANNELS, Channel


@dataclass(frozen=True, slots=True)
class Condition:
    """What one rule finds now. Neither begins nor ends is the dead band that keeps an alert from flapping."""

    begins: bool = False
    ends: bool = False
    reason: Reason | None = None
    hold_min: float = 0.0
    about: tuple[str, ...] = ()


NOTHING = Condition()
PEAK_LEAD_MIN = 10.0  # what an outlook's peak_soon_chance looks ahead


@dataclass(frozen=True, slots=True)
class Situation:
    """The facts, with what several rules ask of them."""

    rules: Rules
    facts: Facts
    outlook: Outlook
    firing: Mapping[AlertKind, Alert]

    @property
    def now(self) -> datetime:
        return self.facts.now

    def later(self, minutes: float) -> datetime:
        return self.now + timedelta(minutes=minutes)

    @property
    def last_fold_at(self) -> datetime | None:
        folds = [event.at for event in self.facts.batch.events if event.kind is EventKind.FOLD and event.at <= self.now]
        return max(folds, default=None)

    def has_fold_since(self, kind: AlertKind) -> bool:
        """True when the dough was folded after the alert of this kind fired."""
        alert = self.firing.get(kind)
        return (
            alert is not None
            and alert.fired_at is not None
            and self.last_fold_at is not None
            and self.last_fold_at > alert.fired_at
        )

    def is_fresh(self, channel: Channel) -> bool:
        seen_at = self.facts.last_seen.get(channel)
        return seen_at is not None and seen_at > self.later(-self.rules.silence_min)

    @property
    def is_unseen(self) -> bool:
        """True when the heights that the estimate rests on have stopped coming."""
        return are_heights_stale(self.rules, self.facts)

    def current(self, channel: Channel, value: float | None) -> float | None:
        """A value of the outlook, if its channel still speaks and it can be one."""
        low, high = PLAUSIBLE[channel]
        return value if value is not None and low <= value <= high and self.is_fresh(channel) else None

    def is_later(self, kind: AlertKind, moments: Moments, lead_min: float) -> bool:
        """True when the moment this alert waits for is open again: after a fold, or clearly later than was said."""
        if self.has_fold_since(kind):
            return moments.p50 is not None and moments.p50 > self.later(lead_min)
        return moments.p05 is not None and moments.p05 > self.later(lead_min + self.rules.elsewhere_min)


def are_heights_stale(rules: Rules, facts: Facts) -> bool:
    """True when a mapped distance sensor is silent and nobody has read the level by eye since."""
    if facts.batch.node_of(Channel.DISTANCE) is None:
        return False
    seen = [facts.last_seen.get(Channel.DISTANCE), facts.last_seen.get(Channel.LEVEL)]
    newest = max((at for at in seen if at is not None), default=None)
    return newest is None or newest <= facts.now - timedelta(minutes=rules.silence_min)


def _has_passed(situation: Situation, moments: Moments) -> bool:
    """True when a moment has come, by the middle estimate; by the late one while nobody sees the dough."""
    quantile = moments.p75 if situation.is_unseen else moments.p50
    return quantile is not None and quantile <= situation.now


def _ready(situation: Situation) -> Condition:
    outlook, rules = situation.outlook, situation.rules
    is_ready = _has_passed(situation, outlook.ready)
    if situation.facts.batch.target.is_peak and not situation.is_unseen:
        # A peak that has not been judged passed is never put before now, so its middle estimate hovers just ahead.
        middle = outlook.ready.p50
        is_ready = middle is not None and middle <= situation.later(rules.look_hold_min)
    return Condition(
        begins=is_ready,
        ends=not is_ready and situation.is_later(AlertKind.READY, outlook.ready, 0.0),
        hold_min=rules.look_hold_min,
        reason=TargetReached() if is_ready else NotReadyYet(),
    )


def _ready_soon(situation: Situation) -> Condition:
    outlook, lead_min = situation.outlook, situation.rules.ready_soon_min
    if situation.facts.batch.target.is_peak:
        return NOTHING  # "at its peak" comes ten minutes before it and says the same
    p50 = outlook.ready.p50
    is_soon = p50 is not None and situation.now < p50 <= situation.later(lead_min)
    return Condition(
        begins=is_soon and AlertKind.READY not in situation.firing,
        ends=situation.is_later(AlertKind.READY_SOON, outlook.ready, lead_min),
        hold_min=situation.rules.look_hold_min,
        reason=ReadyExpected(lead_min) if is_soon else ReadyNotNear(),
    )


def _oven_on(situation: Situation) -> Condition:
    preheat_min = situation.facts.batch.preheat_min
    if preheat_min is None:
        return NOTHING
    outlook = situation.outlook
    early, middle = outlook.ready.p25, outlook.ready.p50
    is_past_ready = AlertKind.READY in situation.firing or (middle is not None and middle <= situation.now)
    is_time = early is not None and early <= situation.later(preheat_min) and not is_past_ready
    return Condition(
        begins=is_time,
        ends=situation.is_later(AlertKind.OVEN_ON, outlook.ready, preheat_min),
        hold_min=situation.rules.look_hold_min,
        reason=OvenNeedsTime(preheat_min) if is_time else LoadingNotNear(),
    )


def _is_ready_long_enough(situation: Situation) -> bool:
    ready = situation.firing.get(AlertKind.READY)
    return (
        ready is not None
        and ready.fired_at is not None
        and ready.fired_at <= situation.later(-situation.rules.last_call_min)
    )


def _at_peak(situation: Situation) -> Condition:
    """For a batch that waits for its peak, the call to come; for a target rise the last call, or that it will not come.

    A dough that was ready and still stands there is told once more before it falls. One whose peak is near while its
    target is not even expected will not get there.
    """
    outlook, rules = situation.outlook, situation.rules
    is_detected = outlook.state is State.AT_PEAK
    is_near = is_detected or outlook.peak_soon_chance > rules.peak_chance
    if situation.is_unseen:
        is_near = outlook.peak.p75 is not None and outlook.peak.p75 <= situation.now
    if situation.facts.batch.target.is_peak:
        is_wanted = not _is_peak_long_gone(situation)
    else:
        is_missed = AlertKind.READY not in situation.firing and outlook.ready.p50 is None
        is_wanted = outlook.state is not State.PAST_PEAK and (_is_ready_long_enough(situation) or is_missed)
    return Condition(
        begins=is_near and is_wanted and AlertKind.PAST_PEAK not in situation.firing,
        ends=not is_near and situation.is_later(AlertKind.AT_PEAK, outlook.peak, PEAK_LEAD_MIN),
        hold_min=rules.look_hold_min,
        reason=PeakReached() if is_detected else PeakLikely(PEAK_LEAD_MIN),
    )


def _is_peak_long_gone(situation: Situation) -> bool:
    peak_at = situation.outlook.peak.p50
    return peak_at is not None and peak_at <= situation.later(-situation.rules.peak_use_min)


def _past_peak(situation: Situation) -> Condition:
    """A fall that was seen. It is latched: only a fold, or a peak clearly ahead, opens the question again."""
    outlook, rules = situation.outlook, situation.rules
    is_past = outlook.state is State.PAST_PEAK
    fold_at = situation.last_fold_at
    is_from_fold = fold_at is not None and fold_at > situation.later(-rules.fold_settle_min)
    is_missed = _is_peak_long_gone(situation) or not situation.facts.batch.target.is_peak
    is_rising = situation.has_fold_since(AlertKind.PAST_PEAK) and outlook.state in (State.NO_RISE, State.RISING)
    return Condition(
        begins=is_past and is_missed and not is_from_fold and not situation.is_unseen,
        ends=not is_past and (is_rising or situation.is_later(AlertKind.PAST_PEAK, outlook.peak, PEAK_LEAD_MIN)),
        hold_min=rules.past_peak_hold_min,
        reason=DoughFalls() if is_past else PeakAheadAgain(),
    )


def _air_temp(situation: Situation) -> tuple[float, AirLimits] | None:
    value = situation.current(Channel.AIR_TEMP, situation.outlook.air_temp_c)
    return None if value is None else (value, air_limits(situation.facts.batch, situation.rules.air))


def _air_too_warm(situation: Situation) -> Condition:
    known = _air_temp(situation)
    if known is None:
        return NOTHING
    air_c, limits = known
    return Condition(
        begins=air_c > limits.high_c,
        ends=air_c < limits.high_c - HYSTERESIS_C,
        hold_min=limits.hold_min,
        reason=AirAgainstLimit(air_c, limits.high_c),
    )


def _air_too_cold(situation: Situation) -> Condition:
    known = _air_temp(situation)
    if known is None:
        return NOTHING
    air_c, limits = known
    return Condition(
        begins=air_c < limits.low_c,
        ends=air_c > limits.low_c + HYSTERESIS_C,
        hold_min=limits.hold_min,
        reason=AirAgainstLimit(air_c, limits.low_c),
    )


def _air_too_dry(situation: Situation) -> Condition:
    """Only for a final proof: other stages stand in a lidded tub (common practice, no source)."""
    if situation.facts.batch.stage is not Stage.FINAL_PROOF:
        return NOTHING
    air_c = situation.current(Channel.AIR_TEMP, situation.outlook.air_temp_c)
    humidity_pct = situation.current(Channel.HUMIDITY, situation.outlook.humidity_pct)
    if air_c is None or humidity_pct is None:
        return NOTHING
    dough_c = situation.current(Channel.DOUGH_TEMP, situation.outlook.dough_temp_c)
    skin = skin_state(air_temp_c=air_c, humidity_pct=humidity_pct, surface_temp_c=air_c if dough_c is None else dough_c)
    if skin is None:
        return NOTHING
    return Condition(
        begins=skin.drying_pa > DRYING_STARTS_PA,
        ends=skin.drying_pa < DRYING_ENDS_PA,
        hold_min=air_limits(situation.facts.batch, situation.rules.air).hold_min,
        reason=SkinDrying(skin.drying_pa),
    )


def silent_channels(rules: Rules, facts: Facts) -> tuple[Channel, ...]:
    """The mapped channels without a reading for too long; one never heard counts from the start of the batch."""
    limit_at = facts.now - timedelta(minutes=rules.silence_min)
    return tuple(
        channel
        for channel in SENSOR_CHANNELS
        if facts.batch.node_of(channel) is not None
        and (facts.last_seen.get(channel) or facts.batch.started_at) <= limit_at
    )


# In this order, for each may look at what those before it have just become.
COURSE: tuple[tuple[AlertKind, Callable[[Situation], Condition]], ...] = (
    (AlertKind.PAST_PEAK, _past_peak),
    (AlertKind.READY, _ready),
    (AlertKind.READY_SOON, _ready_soon),
    (AlertKind.OVEN_ON, _oven_on),
    (AlertKind.AT_PEAK, _at_peak),
)
AIR: tuple[tuple[AlertKind, Callable[[Situation], Condition]], ...] = (
    (AlertKind.AIR_TOO_WARM, _air_too_warm),
    (AlertKind.AIR_TOO_COLD, _air_too_cold),
    (AlertKind.AIR_TOO_DRY, _air_too_dry),
)
