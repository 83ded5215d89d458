"""What alerts and a plan's cues can be about. The value is the name in tables; words for people are in ``wording``."""

from enum import StrEnum


class AlertKind(StrEnum):
    """What an alert is about."""

    OVEN_ON = "oven on"
    READY_SOON = "ready soon"
    READY = "ready"
    AT_PEAK = "at its peak"
    OVER_BAND = "over the band"
    PAST_PEAK = "past its peak"
    NOT_RISING = "not rising"
    FOLD_DUE = "fold due"
    AIR_TOO_WARM = "air too warm"
    AIR_TOO_COLD = "air too cold"
    AIR_TOO_DRY = "air too dry"
    VIEW_BLOCKED = "view blocked"
    LEVEL_JUMPED = "level jumped"
    SENSOR_SILENT = "sensor silent"
    NODE_SILENT = "node silent"
    LINE_SILENT = "line silent"
    TROUBLE = "monitor in trouble"


class CueKind(StrEnum):
    """What a plan calls for; each is said once, and has no life of its own."""

    MIX = "mix now"
    SHAPE = "shape now"
    MOVE = "move it now"
    OVEN_ON = "oven on now"
    OVEN_HEAT = "oven to another heat now"
    OVEN_OFF = "oven off now"
    LOAD = "load now"
    STEAM = "steam now"
    OUT = "out now"
    MOVED = "plan moved"


class NoticeKind(StrEnum):
    """What is said of the calls themselves."""

    TEST_CALL = "test call"
