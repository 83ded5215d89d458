"""Every error of this program, as one tree.

    MonitorError                 what, where, and what to do about it
      ConfigError                a file or an option cannot be used as given
        FaultsError(faults)      a file has these faults
      SourceError                a serial line or a broker cannot be read
      WireError(reason)          bytes from a node that are no reading
      StoreError                 the database cannot be read or written
        DamagedError             its file is damaged: it must be set aside
          GoneError              its file was deleted or replaced under an opened store
            OverwrittenError     another content was written over it
      CentralError(kind)         the central store cannot be written or read
      ReplicaError(fault)        the store cannot be shipped, or none be brought back
      AccessError                someone may not do what they asked for
      NotifyError(retry)         a message could not be handed to its carrier
      UnfitError                 a value that cannot be worked with; a ValueError too

An error is raised with its source sentence and what fills the holes: its text is English, for logs and for whoever asks
for nothing else, and a reader's reader words it anew (``reader.text(error)``, or as what fills a hole).

Library exceptions are caught only in the module that imports the library and are re-raised ``from`` it.
"""

import difflib
from collections.abc import Mapping, Sequence
from enum import Enum, StrEnum
from types import MappingProxyType

from monitor.translatable import N_, Translatable, joined


class MonitorError(Exception):
    """Something this program can explain: the text says what, where, and what to do.

    Parameters
    ----------
    sentence
        Of the source, with named holes; or a text that remembers its own.
    holes
        What fills them.

    Attributes
    ----------
    message
        Both.
    detail
        What a library or the system said of it; never holds a secret.
    """

    def __init__(self, sentence: str, /, **holes: object) -> None:
        self.message = sentence if isinstance(sentence, Translatable) else Translatable(sentence, **holes)
        self.detail = str(holes.get("detail", ""))
        super().__init__(self.message)


def message_of_error(error: Exception) -> str:
    """What an error says, as something that can be said anew where it is one of this program's."""
    return error.message if isinstance(error, MonitorError) else str(error)


class ConfigError(MonitorError):
    """A configuration or batch file cannot be used as given."""


class FaultsError(ConfigError):
    """A file has faults.

    Parameters
    ----------
    where
        The file.
    faults
        What is wrong, each for itself.
    """

    def __init__(self, where: str, faults: tuple[str, ...]) -> None:
        self.faults = faults
        if len(faults) == 1:
            super().__init__(N_("{where}: {found}"), where=where, found=faults[0])
        else:
            lines = joined([Translatable("  {fault}", fault=fault) for fault in faults], "\n")
            super().__init__(N_("{where}: {n} faults\n{lines}"), where=where, n=len(faults), lines=lines)


class SourceError(MonitorError):
    """A serial line or a broker cannot be opened or read."""


class WireError(MonitorError):
    """Bytes that are no reading.

    Parameters
    ----------
    reason
        Short stable word counted in the log and the store: ``frame``, ``checksum``, ``senml``, ``unit``, ``value``,
        ``channel``, ``time``, ``name``, ``too long``.
    detail
        What was wrong, in one line.
    about
        The name, unit or pointer that was wrong, as it came; empty where none was.
    """

    def __init__(self, reason: str, detail: str, about: str = "") -> None:
        super().__init__("{reason}: {detail}", reason=reason, detail=detail)
        self.reason = reason
        self.detail = detail
        self.about = about


class StoreFault(StrEnum):
    """What is wrong with a database, as far as one can tell from what the library says."""

    LOCKED = "locked"
    FULL = "full"
    READ_ONLY = "read only"
    NO_PATH = "no path"
    NO_DATABASE = "no database"
    DAMAGED = "damaged"
    OTHER_THREAD = "other thread"
    CLOSED = "closed"
    BAD_VALUE = "bad value"
    NO_FOLDER = "no folder"
    OTHER = "other"


STORE_REMEDIES: Mapping[StoreFault, Translatable] = MappingProxyType(
    {
        StoreFault.LOCKED: Translatable("another program holds the file; close it, or try again"),
        StoreFault.FULL: Translatable("make room on this disk, then start again"),
        StoreFault.READ_ONLY: Translatable("let this user write the file and its folder"),
        StoreFault.NO_PATH: Translatable("check that the path is a file and that this user may write its folder"),
        StoreFault.NO_DATABASE: Translatable("the file is something else; name another, or bring it back from a copy"),
        StoreFault.DAMAGED: Translatable("the file is damaged; bring it back with `proofing-monitor backup restore`"),
        StoreFault.OTHER_THREAD: Translatable("each thread opens a Store of its own"),
        StoreFault.CLOSED: Translatable("the store was closed before; open it again"),
        StoreFault.BAD_VALUE: Translatable("bring the file back from a copy"),
        StoreFault.NO_FOLDER: Translatable("plug the drive in, or make the folder"),
        StoreFault.OTHER: Translatable("check the disk and its rights"),
    }
)
"""What to do about each."""


class StoreError(MonitorError):
    """The database cannot be read or written; the hole ``remedy`` says what to do about its fault."""

    def __init__(self, sentence: str, /, *, fault: StoreFault = StoreFault.OTHER, **holes: object) -> None:
        super().__init__(sentence, **{"remedy": STORE_REMEDIES[fault], **holes})
        self.fault = fault


class DamagedError(StoreError):
    """The database's file is damaged: no second try helps, it must be set aside."""


class GoneError(DamagedError):
    """Its file was deleted or replaced under an opened store: what is committed there is lost when it is closed."""


class OverwrittenError(GoneError):
    """Another file's content was written over its own: neither can be read any more through an opened store."""


class CentralKind(Enum):
    """Whom a fault of the central store concerns."""

    AWAY = "away"
    """Nobody answers, or not now: the same again helps."""
    SHUT = "shut"
    """The settings are wrong (token, bucket, address): a person must mend them, then the same again helps."""
    POINTS = "points"
    """Something in what was sent cannot be taken, ever."""


class CentralError(MonitorError):
    """The central store cannot be written or read; ``status`` is what the server answered, None when it did not."""

    def __init__(self, text: str, kind: CentralKind, *, status: int | None = None, **holes: object) -> None:
        super().__init__(text, status=status, **holes)
        self.kind = kind
        self.status = status


CENTRAL_REMEDIES: Mapping[int, Translatable] = MappingProxyType(
    {
        401: Translatable("the token is not known there; mend influx_token in secrets.toml"),
        403: Translatable("the token does not allow it; give it write (for the overview: read) access to the bucket"),
        404: Translatable("there is no such bucket; create it, or mend `bucket` under [central] in config.toml"),
    }
)
"""What is wrong and what to do, by what the server answered."""


class ReplicaFault(StrEnum):
    """Why a store cannot be shipped, or brought back, as far as one can tell from what Litestream says."""

    AWAY = "away"
    NO_FOLDER = "no folder"
    FULL = "full"
    READ_ONLY = "read only"
    SHUT = "shut"
    """Nobody is let in with these secrets."""
    EMPTY = "empty"
    """Nothing lies there that could be brought back."""
    TAKEN = "taken"
    """What lies there is of another store."""
    NOT_RUNNING = "not running"
    OTHER = "other"


REPLICA_REMEDIES: Mapping[ReplicaFault, Translatable] = MappingProxyType(
    {
        ReplicaFault.AWAY: Translatable("bring it back, or mend its line"),
        ReplicaFault.NO_FOLDER: Translatable("plug the drive in, or make the folder"),
        ReplicaFault.FULL: Translatable("make room there"),
        ReplicaFault.READ_ONLY: Translatable("let this user write there"),
        ReplicaFault.SHUT: Translatable(
            "mend the replica_ lines of secrets.toml, or key_file and host_key in config.toml"
        ),
        ReplicaFault.EMPTY: Translatable(
            "look whether the address is right and whether anything was shipped there yet"
        ),
        ReplicaFault.TAKEN: Translatable(
            "bring that store back (`proofing-monitor backup restore ADDRESS`), or name another, empty place under "
            "[replica] in config.toml"
        ),
        ReplicaFault.NOT_RUNNING: Translatable("start `proofing-monitor replica run`, or its service"),
        ReplicaFault.OTHER: Translatable("see the log of `proofing-monitor replica run`"),
    }
)
"""What to do about each."""


class ReplicaError(MonitorError):
    """The store cannot be shipped, or none be brought back; the hole ``remedy`` says what to do about its fault."""

    def __init__(self, text: str, /, *, fault: ReplicaFault = ReplicaFault.OTHER, **holes: object) -> None:
        super().__init__(text, **{"remedy": REPLICA_REMEDIES[fault], **holes})
        self.fault = fault


class AccessError(MonitorError):
    """Someone may not do what they asked for."""


class PictureError(MonitorError):
    """A file is no picture that can be kept."""


class NotifyError(MonitorError):
    """A message could not be handed to its carrier; ``retry`` is True when trying again later can help."""

    def __init__(self, text: str, *, retry: bool, **holes: object) -> None:
        super().__init__(text, **holes)
        self.retry = retry


class UnfitError(MonitorError, ValueError):
    """A value that a function cannot work with, for a reason that its giver is to be told."""


def hint_for(key: str, known: Sequence[str]) -> str:
    """What an unknown key was perhaps meant to be: the known one that is spelt most like it, or all there are."""
    near = difflib.get_close_matches(key[:40], known, n=1)
    if near:
        return Translatable("did you mean {near!r}?", near=near[0])
    return Translatable("known here: {known}", known=", ".join(known))
