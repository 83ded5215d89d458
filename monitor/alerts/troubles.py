"""What can be wrong with the monitor itself: one type a code, with its values. Worded in ``monitor.wording.troubles``.

What a library or the system says of it is a value, ``detail``, passed on as it is.
"""

import re
from datetime import datetime
from typing import TypeAlias, assert_never

import msgspec

from monitor.errors import CentralKind, ReplicaFault, StoreFault
from monitor.wire.readings import NodeId


def code_of(name: str) -> str:
    """The code of a type by its name.

    >>> code_of("DiskNearlyFull")
    'disk_nearly_full'
    """
    return re.sub(r"(?<!^)(?=[A-Z])", "_", name).lower()


class Code(msgspec.Struct, frozen=True, tag=code_of, tag_field="code"):
    """A code with its values, kept as ``{"code": ..., values}``."""


class StoreUnusable(Code, frozen=True):
    """Nothing can be stored."""

    fault: StoreFault
    path: str
    detail: str


class LoopHangs(Code, frozen=True):
    """The collector does not work on."""


class DiskNearlyFull(Code, frozen=True):
    """Little room is left on the disk of a folder."""

    folder: str


class ClockMoved(Code, frozen=True):
    """The machine's clock was set while the collector ran."""


class DatabaseSetAside(Code, frozen=True):
    """The database was damaged; it lies at a path now, and a new one was begun."""

    path: str


class DatabaseGone(Code, frozen=True):
    """The database was deleted or replaced while the collector ran; what it held was saved at a path (empty: not)."""

    path: str


class CarriersFail(Code, frozen=True):
    """Some carriers do not take messages."""

    names: tuple[str, ...]


class NodeRestarts(Code, frozen=True):
    """A node starts again and again; ``cause`` is what started it last, as it says itself, empty where it does not."""

    node: NodeId
    restarts: int
    within_min: float
    cause: str = ""


class DistanceStuck(Code, frozen=True):
    """A node measures the very same distance all the time."""

    node: NodeId
    distance_mm: float
    for_min: float


class SensorUnread(Code, frozen=True):
    """A node says that it cannot read one of its sensors, and which fault came how often.

    ``unread_min`` is since when, None for never since its start.
    """

    node: NodeId
    sensor: str
    fault: str
    times: int
    pins: tuple[int, ...] = ()
    unread_min: float | None = None


class SignalWeak(Code, frozen=True):
    """A node says that it hardly hears its wireless network."""

    node: NodeId
    signal_dbm: int


class FlashFull(Code, frozen=True):
    """A node says that hardly any room is left on its file system."""

    node: NodeId
    free_bytes: int


class CheckFails(Code, frozen=True):
    """One of the monitor's looks at itself fails."""

    detail: str


class BackupFails(Code, frozen=True):
    """No backup can be made."""

    fault: StoreFault
    path: str
    detail: str


class CentralGetsNothing(Code, frozen=True):
    """The central store takes nothing from here; ``status`` is what it answered, None when it did not answer."""

    url: str
    kind: CentralKind
    detail: str
    status: int | None = None


class OthersToldNothing(Code, frozen=True):
    """A broker does not take what other programs are to be told; ``detail`` is what it or the library says."""

    url: str
    detail: str


class CentralLate(Code, frozen=True):
    """The central store is hours behind."""

    rows: int


class CentralRefusesRows(Code, frozen=True):
    """The central store cannot take some rows; ``examples`` are table, number and what it said of it."""

    rows: int
    examples: tuple[str, ...]


class ReplicaLate(Code, frozen=True):
    """The store is not shipped: the last time everything lay at ``url`` was ``shipped_at``, None for never."""

    url: str
    fault: ReplicaFault
    detail: str
    shipped_at: datetime | None = None


class ReplicaBegunAnew(Code, frozen=True):
    """What was shipped lay there no more: the place was emptied or replaced, and the store was shipped whole again."""

    url: str


class StoreOlder(Code, frozen=True):
    """The store in use was found, at ``found_at``, to be older than what was shipped until ``shipped_at``."""

    url: str
    shipped_at: datetime
    found_at: datetime


Trouble: TypeAlias = (
    StoreUnusable
    | LoopHangs
    | DiskNearlyFull
    | ClockMoved
    | DatabaseSetAside
    | DatabaseGone
    | CarriersFail
    | NodeRestarts
    | DistanceStuck
    | SensorUnread
    | SignalWeak
    | FlashFull
    | CheckFails
    | BackupFails
    | CentralGetsNothing
    | OthersToldNothing
    | CentralLate
    | CentralRefusesRows
    | ReplicaLate
    | ReplicaBegunAnew
    | StoreOlder
)


def key_of(trouble: Trouble) -> str:
    """What a trouble goes by: the same for as long as the same thing is wrong.

    >>> key_of(DiskNearlyFull("/srv/dough"))
    'disk'
    """
    match trouble:
        case StoreUnusable():
            return "store"
        case LoopHangs():
            return "loop"
        case DiskNearlyFull():
            return "disk"
        case ClockMoved():
            return "clock"
        case DatabaseSetAside(path):
            return f"damaged {path.rpartition('/')[2]}"
        case DatabaseGone(path):
            return f"gone {path.rpartition('/')[2]}"
        case CarriersFail():
            return "carriers"
        case NodeRestarts(node):
            return f"reboots {node}"
        case DistanceStuck(node):
            return f"stuck {node}"
        case SensorUnread(node, sensor):
            return f"unread {sensor} {node}"
        case SignalWeak(node):
            return f"signal {node}"
        case FlashFull(node):
            return f"flash {node}"
        case CheckFails(detail):
            return f"lookout {detail}"
        case BackupFails():
            return "backup"
        case CentralGetsNothing():
            return "central"
        case OthersToldNothing():
            return "publish"
        case CentralLate():
            return "central late"
        case CentralRefusesRows():
            return "central parked"
        case ReplicaLate():
            return "replica"
        case ReplicaBegunAnew():
            return "replica anew"
        case StoreOlder():
            return "older"
    assert_never(trouble)
