"""What stands between a sensor and the truth for a while, or from some moment on: no noise, and nothing that rises."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from firmware_sim.bench.faults import Episode

LOST_SPREAD = 0.15  # of the usual flicker on a flat near thing: a lid, a film of water (judgement)


class TroubleKind(StrEnum):
    """Kinds of trouble; what ``size`` of a trouble means stands behind each."""

    LID = "lid"  # its distance from the sensor [mm]
    CONDENSATION = "condensation"  # distance that a film of water shows [mm]
    HAND = "hand"  # its distance from the sensor [mm]
    BLIND_ZONE = "blind zone"  # least distance that the sensor can tell [mm]
    MOVED_TUB = "moved tub"  # how much farther the tub stands from then on [mm]
    CLINGING = "clinging to the wall"  # how far the edge sticks before it lets go [mm]
    UNLOGGED_FOLD = "unlogged fold"  # nothing
    PROBE_OUT = "probe pulled out"  # nothing
    DRIFT = "drift"  # how far the distance has wandered at the end [mm]


@dataclass(frozen=True, slots=True)
class Trouble(Episode):
    """From when to when [s], how much, of which kind; ``is_logged``: the baker wrote it down."""

    kind: TroubleKind
    is_logged: bool = False


def seen_distance(troubles: Sequence[Trouble], at_s: float, distance_mm: float) -> tuple[float, float]:
    """What the sensor is over [mm], and how much of its usual spread is left, when the dough is ``distance_mm`` off."""
    shown_mm, spread = distance_mm, 1.0
    for one in troubles:
        if one.kind is TroubleKind.MOVED_TUB and one.covers(at_s):
            shown_mm += one.size
        elif one.kind is TroubleKind.DRIFT:
            shown_mm += one.size * min(1.0, max(0.0, (at_s - one.start_s) / (one.end_s - one.start_s)))
    for one in troubles:
        if one.covers(at_s):
            if one.kind is TroubleKind.HAND:
                shown_mm = min(one.size, shown_mm)
            elif one.kind in (TroubleKind.LID, TroubleKind.CONDENSATION):
                shown_mm, spread = min(one.size, shown_mm), LOST_SPREAD
    for one in troubles:
        if one.kind is TroubleKind.BLIND_ZONE and shown_mm < one.size:
            shown_mm, spread = one.size, LOST_SPREAD
    return shown_mm, spread


def is_on(troubles: Sequence[Trouble], kind: TroubleKind, at_s: float) -> bool:
    """Whether a kind of trouble is on at a moment."""
    return any(one.kind is kind and one.covers(at_s) for one in troubles)
