"""What each alert looks for in the facts: one function a kind, giving whether it begins, ends, or neither."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from monitor.alerts.alert import Alert, Facts, Rules
from monitor.alerts.kinds import AlertKind
from monitor.alerts.limits import (
    DAMP_PCT,
    DRYING_ENDS_PA,
    DRYING_STARTS_PA,
    HYSTERESIS_C,
    AirLimits,
    air_limits,
    is_covered,
    is_in_the_cold,
    lagging_limits,
    placed_at,
)
from monitor.alerts.reasons import (
    AirAgainstLimit,
    BandExceeded,
    BandHolds,
    DoughCovered,
    DoughFalls,
    FoldWanted,
    JumpKnown,
    LoadingNotNear,
    NoFoldWanted,
    NoRise,
    NotReadyYet,
    OvenNeedsTime,
    PeakAheadAgain,
    PeakLikely,
    PeakNear,
    PeakReached,
    ReadyExpected,
    ReadyNotNear,
    Reason,
    RisesAfterAll,
    SeenAgain,
    SkinDrying,
    TargetReached,
    TubMoved,
    ViewBlocked,
)
from monitor.alerts.ripeness import ripe_window
from monitor.dough.air import skin_state
from monitor.dough.outlook import Moments, ObstructionKind, Outlook, State
from monitor.recipe.batch import Batch, EventKind, Stage
from monitor.recipe.folds import newest_fold
from monitor.wire.readings import SENSOR_CHANNELS, Channel


@dataclass(frozen=True, slots=True)
class Condition:
    """What one rule finds now. Neither begins nor ends is the dead band that keeps an alert from flapping.

    ``keep_min`` is how long it must look over before it is; None: as long as that of all rules. ``is_answered`` is true
    of an end that somebody brought about: nobody need be told of it.
    """

    begins: bool = False
    ends: bool = False
    reason: Reason | None = None
    hold_min: float = 0.0
    about: tuple[str, ...] = ()
    keep_min: float | None = None
    is_answered: bool = False


NOTHING = Condition()
RISES = (State.RISING, State.NEARLY_READY, State.READY, State.AT_PEAK, State.PAST_PEAK)
NOTED_MIN = 15.0  # judgement: a note is often a little early or late
MAY_BE_MIN = 60.0  # judgement: a doubt of more than that is no news
CHILLED_MIN = 120.0  # judgement: out of the cold, a dough takes so long to rise again
RISEN_PCT = 15.0  # judgement: what any eye sees on a tub's wall
FALLEN_CHANCE = 0.4  # judgement: a last call that late would be followed by "past its peak" in minutes
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

    @property
    def is_blocked(self) -> bool:
        """True while something stands between sensor and dough: what is said of it goes by the forecast alone."""
        return blocked_by(self.outlook) is not None

    def has_come(self, moments: Moments) -> bool:
        """True when a moment has come: by the middle estimate, by a late one while nobody sees the dough."""
        quantile = moments.p75 if self.is_unseen else moments.p95 if self.is_blocked else moments.p50
        return quantile is not None and quantile <= self.now

    def current(self, channel: Channel, value: float | None) -> float | None:
        """A value of the outlook, if its channel still speaks and it can be one."""
        low, high = channel.plausible
        return value if value is not None and low <= value <= high and self.is_fresh(channel) else None

    def is_later(self, kind: AlertKind, moments: Moments, lead_min: float) -> bool:
        """True when the moment this alert waits for is open again: after a fold, or clearly later than was said."""
        if self.has_fold_since(kind):
            return moments.p50 is not None and moments.p50 > self.later(lead_min)
        return moments.p05 is not None and moments.p05 > self.later(lead_min + self.rules.elsewhere_min)


def blocked_by(outlook: Outlook) -> ObstructionKind | None:
    """What stands between sensor and dough; a hand is gone before it matters."""
    by = outlook.hidden_by
    return None if by is None or by.kind is ObstructionKind.HAND else by.kind


def are_heights_stale(rules: Rules, facts: Facts) -> bool:
    """True when a mapped distance sensor is silent and nobody has read the level by eye since."""
    if facts.batch.node_of(Channel.DISTANCE) is None:
        return False
    seen = [facts.last_seen.get(Channel.DISTANCE), facts.last_seen.get(Channel.LEVEL)]
    newest = max((at for at in seen if at is not None), default=None)
    return newest is None or newest <= facts.now - timedelta(minutes=rules.silence_min)


def fold_due(rules: Rules, facts: Facts) -> Condition:
    """A fold of the recipe, by the clock: whether anybody measures the dough or not. None of a dough at its peak."""
    state = None if facts.outlook is None else facts.outlook.state
    fold = newest_fold(facts.batch, facts.now, rules.fold_worth_min)
    if fold is None or not fold.is_due(facts.now) or state in (State.AT_PEAK, State.PAST_PEAK):
        is_noted = fold is not None and fold.is_noted
        return Condition(ends=True, keep_min=0.0, is_answered=is_noted, reason=NoFoldWanted())
    return Condition(begins=True, reason=FoldWanted(fold.number, fold.of))


def _ready(situation: Situation) -> Condition:
    outlook, rules = situation.outlook, situation.rules
    is_ready = situation.has_come(outlook.ready)
    if situation.facts.batch.target.is_peak and not (situation.is_unseen or situation.is_blocked):
        # A peak that has not been judged passed is never put before now, so its middle estimate hovers just ahead.
        middle = outlook.ready.p50
        is_ready = middle is not None and middle <= situation.later(rules.look_hold_min)
    return Condition(
        begins=is_ready,
        ends=not is_ready and situation.is_later(AlertKind.READY, outlook.ready, 0.0),
        hold_min=rules.look_hold_min,
        reason=TargetReached() if is_ready else NotReadyYet(),
    )


def first_lead_min(batch: Batch, rules: Rules) -> float:
    """How long before it *ready soon* comes. [min]"""
    return rules.first_call_min if batch.target.is_peak else rules.ready_soon_min


def _is_within(situation: Situation, at: datetime | None, minutes: float) -> bool:
    return at is not None and at <= situation.later(minutes)


def _ready_soon(situation: Situation) -> Condition:
    """Soon by the middle estimate; also when it may be ready already, one time in ten, and will be within the hour.

    A peak is foretold late rather than early, so its first call goes by the early side, one time in four.
    """
    outlook, batch = situation.outlook, situation.facts.batch
    lead_min = first_lead_min(batch, situation.rules)
    middle = outlook.ready.p50
    is_ahead = middle is not None and middle > situation.now
    if batch.target.is_peak:
        is_near = _is_within(situation, middle, lead_min + MAY_BE_MIN)
        is_soon = is_ahead and is_near and _is_within(situation, outlook.ready.p25, lead_min)
    else:
        may_be = _is_within(situation, outlook.ready.p10, 0.0) and _is_within(situation, middle, MAY_BE_MIN)
        is_soon = is_ahead and (may_be or _is_within(situation, middle, lead_min))
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
    is_near = _is_within(situation, early, preheat_min) and _is_within(situation, middle, preheat_min + MAY_BE_MIN)
    is_time = is_near and not is_past_ready
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
    outlook, rules, is_for_peak = situation.outlook, situation.rules, situation.facts.batch.target.is_peak
    is_detected = outlook.state is State.AT_PEAK and not situation.is_blocked
    chance = rules.ripe_chance if is_for_peak else rules.peak_chance
    is_near = is_detected or outlook.peak_soon_chance > chance
    if is_for_peak:  # the chance is the courses' own, which peak late; the moments that are told have been moved
        is_near = is_near or _is_within(situation, outlook.peak.p50, PEAK_LEAD_MIN)
    if situation.is_unseen or (situation.is_blocked and not is_for_peak):
        is_near = situation.has_come(outlook.peak)
    if is_for_peak:
        is_wanted = not _is_peak_long_gone(situation)
    else:
        is_missed = AlertKind.READY not in situation.firing and outlook.ready.p50 is None
        may_have_fallen = outlook.state is State.PAST_PEAK or outlook.past_peak_chance > FALLEN_CHANCE
        is_standing = not may_have_fallen and not _is_chilled(situation)
        is_wanted = is_standing and (_is_ready_long_enough(situation) or is_missed)
    return Condition(
        begins=is_near and is_wanted and AlertKind.PAST_PEAK not in situation.firing,
        ends=not is_near and situation.is_later(AlertKind.AT_PEAK, outlook.peak, PEAK_LEAD_MIN),
        hold_min=rules.look_hold_min,
        reason=PeakReached() if is_detected else PeakNear(PEAK_LEAD_MIN) if is_for_peak else PeakLikely(PEAK_LEAD_MIN),
    )


def _over_band(situation: Situation) -> Condition:
    """A dough that was ready, and that nobody took: far over its target it may fall at any time."""
    outlook, rules, target_pct = situation.outlook, situation.rules, situation.facts.batch.target.rise_pct
    if target_pct is None or outlook.rise_pct is None:
        return NOTHING
    over = outlook.rise_pct.p50 - target_pct
    is_seen = not situation.is_unseen and not situation.is_blocked
    is_told = AlertKind.AT_PEAK in situation.firing or AlertKind.PAST_PEAK in situation.firing
    is_over = over >= rules.over_band_points
    return Condition(
        begins=is_over and is_seen and not is_told and _is_ready_long_enough(situation),
        ends=over < 0.0,
        hold_min=rules.look_hold_min,
        reason=BandExceeded(over) if is_over else BandHolds(),
    )


def _is_peak_long_gone(situation: Situation) -> bool:
    """True when a dough that is used at its peak is not ripe any more."""
    window = ripe_window(situation.facts.batch, situation.outlook, situation.rules.peak_use_min)
    return window is not None and window.closes_at <= situation.now


def _past_peak(situation: Situation) -> Condition:
    """A fall that was seen. It is latched: only a fold, or a peak clearly ahead, opens the question again."""
    outlook, rules = situation.outlook, situation.rules
    is_past = outlook.state is State.PAST_PEAK
    fold_at = situation.last_fold_at
    is_from_fold = fold_at is not None and fold_at > situation.later(-rules.fold_settle_min)
    is_explained = is_from_fold or _is_chilled(situation)
    is_missed = _is_peak_long_gone(situation) or not situation.facts.batch.target.is_peak
    is_rising = situation.has_fold_since(AlertKind.PAST_PEAK) and outlook.state in (State.NO_RISE, State.RISING)
    return Condition(
        begins=is_past and is_missed and not is_explained and not situation.is_unseen and not situation.is_blocked,
        ends=not is_past and (is_rising or situation.is_later(AlertKind.PAST_PEAK, outlook.peak, PEAK_LEAD_MIN)),
        hold_min=rules.past_peak_hold_min,
        reason=DoughFalls() if is_past else PeakAheadAgain(),
    )


def _is_chilled(situation: Situation) -> bool:
    """True when a dough falls because it cools: gas shrinks and dissolves, and comes back in the warmth."""
    batch, peak, now = situation.facts.batch, situation.outlook.peak, situation.now
    air_c = situation.current(Channel.AIR_TEMP, situation.outlook.air_temp_c)
    if is_in_the_cold(batch, now):
        is_cold = air_c is None or air_c <= lagging_limits(batch, now, situation.rules.air).high_c
        return is_cold and (peak.p95 is None or peak.p95 >= placed_at(batch, now))
    return _has_left_the_cold(situation)


def _has_left_the_cold(situation: Situation) -> bool:
    """True when it came out of the refrigerator so lately that it has not risen again."""
    left_at = placed_at(situation.facts.batch, situation.now)
    was_cold = is_in_the_cold(situation.facts.batch, left_at - timedelta(seconds=1))
    return was_cold and left_at > situation.later(-CHILLED_MIN)


def _not_rising(situation: Situation) -> Condition:
    """A dough that should have begun to rise, as the forecast has it. Told once: only a rise that is seen ends it."""
    outlook = situation.outlook
    cause = outlook.cause if outlook.state is State.NOT_RISING else None
    rise = outlook.rise_pct
    # in the cold it is not meant to
    is_cold = is_in_the_cold(situation.facts.batch, situation.now) or _has_left_the_cold(situation)
    is_flat = rise is None or rise.p50 < RISEN_PCT  # a height that nobody can tell is no proof
    return Condition(
        begins=cause is not None and is_flat and not is_cold and not situation.is_unseen,
        ends=outlook.state in RISES and rise is not None and rise.p50 >= RISEN_PCT,
        hold_min=situation.rules.not_rising_hold_min,
        reason=RisesAfterAll() if cause is None else NoRise(cause),
    )


def _view_blocked(situation: Situation) -> Condition:
    """A lid, water on the sensor, a dough that is too near to it, or no dough at all, as the forecast finds it."""
    by = blocked_by(situation.outlook)
    return Condition(
        begins=by is not None,
        ends=by is None,
        hold_min=situation.rules.blocked_hold_min,
        keep_min=situation.rules.blocked_keep_min,
        reason=SeenAgain() if by is None else ViewBlocked(by),
    )


def _is_noted(situation: Situation, at: datetime) -> bool:
    """True when something was noted beside a moment that may well explain a jump of the level."""
    near = timedelta(minutes=NOTED_MIN)
    return any(abs(event.at - at) <= near for event in situation.facts.batch.events if event.at <= situation.now)


def _level_jumped(situation: Situation) -> Condition:
    """A tub that seems to stand otherwise than before, once: one that seems to move again and again was not moved.

    Where it may as well have been a fold, nothing is said.
    """
    rules, steps = situation.rules, [one for one in situation.outlook.obstructions if not one.hides]
    newest = max((one.since for one in steps), default=None)
    kinds = [one.kind for one in steps]
    is_new = newest is not None and situation.later(-rules.jump_news_min) < newest and not _is_noted(situation, newest)
    # what cools, comes back from the cold or falls moves as much by itself
    is_restless = is_in_the_cold(situation.facts.batch, situation.now) or _has_left_the_cold(situation)
    is_falling = situation.outlook.past_peak_chance > rules.peak_chance
    is_moved = is_new and kinds == [ObstructionKind.MOVED] and not is_restless and not is_falling
    return Condition(
        begins=is_moved,
        ends=not is_moved,
        hold_min=rules.jump_hold_min,
        reason=TubMoved() if is_moved else JumpKnown(),
    )


def _air_temp(situation: Situation) -> tuple[float, AirLimits] | None:
    value = situation.current(Channel.AIR_TEMP, situation.outlook.air_temp_c)
    return None if value is None else (value, lagging_limits(situation.facts.batch, situation.now, situation.rules.air))


def _told_limits(situation: Situation) -> AirLimits:
    return air_limits(situation.facts.batch, situation.now, situation.rules.air)


def _air_too_warm(situation: Situation) -> Condition:
    known = _air_temp(situation)
    if known is None:
        return NOTHING
    air_c, limits = known
    return Condition(
        begins=air_c > limits.high_c,
        ends=air_c < limits.high_c - HYSTERESIS_C,
        hold_min=limits.hold_min,
        reason=AirAgainstLimit(air_c, _told_limits(situation).high_c),
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
        reason=AirAgainstLimit(air_c, _told_limits(situation).low_c),
    )


def _air_too_dry(situation: Situation) -> Condition:
    """Only for a bare final proof: other stages stand in a lidded tub (common practice, no source)."""
    if situation.facts.batch.stage is not Stage.FINAL_PROOF:
        return NOTHING
    if is_covered(situation.facts.batch, situation.now):
        return Condition(ends=True, reason=DoughCovered())
    air_c = situation.current(Channel.AIR_TEMP, situation.outlook.air_temp_c)
    humidity_pct = situation.current(Channel.HUMIDITY, situation.outlook.humidity_pct)
    if air_c is None or humidity_pct is None:
        return NOTHING
    dough_c = situation.current(Channel.DOUGH_TEMP, situation.outlook.dough_temp_c)
    skin = skin_state(air_temp_c=air_c, humidity_pct=humidity_pct, surface_temp_c=air_c if dough_c is None else dough_c)
    if skin is None:
        return NOTHING
    return Condition(
        begins=skin.drying_pa > DRYING_STARTS_PA and humidity_pct < DAMP_PCT,
        ends=skin.drying_pa < DRYING_ENDS_PA,
        hold_min=_told_limits(situation).hold_min,
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
    (AlertKind.OVER_BAND, _over_band),
    (AlertKind.NOT_RISING, _not_rising),
)
VIEW: tuple[tuple[AlertKind, Callable[[Situation], Condition]], ...] = (
    (AlertKind.VIEW_BLOCKED, _view_blocked),
    (AlertKind.LEVEL_JUMPED, _level_jumped),
)
AIR: tuple[tuple[AlertKind, Callable[[Situation], Condition]], ...] = (
    (AlertKind.AIR_TOO_WARM, _air_too_warm),
    (AlertKind.AIR_TOO_COLD, _air_too_cold),
    (AlertKind.AIR_TOO_DRY, _air_too_dry),
)
