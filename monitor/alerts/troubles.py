"""What can be wrong with the monitor itself: one type a code, with its values. Worded in ``monitor.wording.troubles``.

What a library or the system says of it is a value, ``detail``, passed on as it is.
"""

import re
from typing import TypeAlias, assert_never

import msgspec

from monitor.errors import CentralKind, StoreFault
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


class CarriersFail(Code, frozen=True):
    """Some carriers do not take messages."""

    names: tuple[str, ...]


class NodeRestarts(Code, frozen=True):
    """A node starts again and again."""

    node: NodeId
    restarts: int
    within_min: float


class DistanceStuck(Code, frozen=True):
    """A node measures the very same distance all the time."""

    node: NodeId
    distance_mm: float
    for_min: float


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


class CentralLate(Code, frozen=True):
    """The central store is hours behind."""

    rows: int


class CentralRefusesRows(Code, frozen=True):
    """The central store cannot take some rows; ``examples`` are table, number and what it said of it."""

    rows: int
    examples: tuple[str, ...]


Trouble: TypeAlias = (
    StoreUnusable
    | LoopHangs
    | DiskNearlyFull
    | ClockMoved
    | DatabaseSetAside
    | CarriersFail
    | NodeRestarts
    | DistanceStuck
    | CheckFails
    | BackupFails
    | CentralGetsNothing
    | CentralLate
    | CentralRefusesRows
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
        case CarriersFail():
            return "carriers"
        case NodeRestarts(node):
            return f"reboots {node}"
        case DistanceStuck(node):
            return f"stuck {node}"
        case CheckFails(detail):
            return f"lookout {detail}"
        case BackupFails():
            return "backup"
        case CentralGetsNothing():
            return "central"
        case CentralLate():
            return "central late"
        case CentralRefusesRows():
            return "central parked"
    assert_never(trouble)
