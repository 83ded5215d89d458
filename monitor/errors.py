"""Every error of this program, as one tree.

    MonitorError                 what, where, and what to do about it
      ConfigError                a file or an option cannot be used as given
      SourceError                a serial line or a broker cannot be read
      WireError(reason)          bytes from a node that are no reading
      StoreError                 the database cannot be read or written
        DamagedError             its file is damaged: it must be set aside
      CentralError(kind)         the central store cannot be written or read
      AccessError                someone may not do what they asked for
      NotifyError(retry)         a message could not be handed to its carrier
      UnfitError                 a value that cannot be worked with; a ValueError too

An error is raised with its source sentence and what fills the holes: its text is English, for logs and for whoever asks
for nothing else, and a reader's reader words it anew (``reader.told(error)``, or as what fills a hole).

Library exceptions are caught only in the module that imports the library and are re-raised ``from`` it.
"""

from enum import Enum

from monitor.translatable import Saying


class MonitorError(Exception):
    """Something this program can explain: the text says what, where, and what to do.

    Parameters
    ----------
    sentence
        Of the source, with named holes; or a saying.
    holes
        What fills them.

    Attributes
    ----------
    saying
        Both.
    """

    def __init__(self, sentence: str, /, **holes: object) -> None:
        self.saying = sentence if isinstance(sentence, Saying) else Saying(sentence, **holes)
        super().__init__(self.saying)


def saying_of(error: Exception) -> str:
    """What an error says, as something that can be said anew where it is one of this program's."""
    return error.saying if isinstance(error, MonitorError) else str(error)


class ConfigError(MonitorError):
    """A configuration or batch file cannot be used as given."""


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
    """

    def __init__(self, reason: str, detail: str) -> None:
        super().__init__("{reason}: {detail}", reason=reason, detail=detail)
        self.reason = reason
        self.detail = detail


class StoreError(MonitorError):
    """The database cannot be read or written."""


class DamagedError(StoreError):
    """The database's file is damaged: no second try helps, it must be set aside."""


class CentralKind(Enum):
    """Whom a fault of the central store concerns."""

    AWAY = "away"
    """Nobody answers, or not now: the same again helps."""
    SHUT = "shut"
    """The settings are wrong (token, bucket, address): a person must mend them, then the same again helps."""
    POINTS = "points"
    """Something in what was sent cannot be taken, ever."""


class CentralError(MonitorError):
    """The central store cannot be written or read.

    Parameters
    ----------
    text
        What went wrong; never holds the token.
    """

    def __init__(self, text: str, kind: CentralKind, **holes: object) -> None:
        super().__init__(text, **holes)
        self.kind = kind


class AccessError(MonitorError):
    """Someone may not do what they asked for."""


class PictureError(MonitorError):
    """A file is no picture that can be kept."""


class NotifyError(MonitorError):
    """A message could not be handed to its carrier.

    Parameters
    ----------
    text
        What went wrong; never holds an address or a secret.
    retry
        True when trying again later can help.
    """

    def __init__(self, text: str, *, retry: bool, **holes: object) -> None:
        super().__init__(text, **holes)
        self.retry = retry


class UnfitError(MonitorError, ValueError):
    """A value that a function cannot work with, for a reason that its giver is to be told."""
