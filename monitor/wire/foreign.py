"""Readings of devices that are no nodes of ours: one number of an MQTT payload, where the settings say it stands. Pure.

Nothing numbers such a reading and nobody acknowledges it: it is of the moment at which it arrived.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from math import isfinite
from typing import Any
from zlib import crc32

import msgspec

from monitor.errors import WireError
from monitor.wire.frames import channel_and_value, unnumbered
from monitor.wire.readings import NodeId, Reading

MAX_BRACKETS = 2000  # judgement: of a bridge's whole state; it bounds nesting before the JSON decoder does
SUBTYPE = "topic"  # not registered; RFC 9039 leaves room for more of them
LONGEST_NAME = 100
_INDEX = re.compile(r"0|[1-9][0-9]{0,8}")  # RFC 6901 section 4: no leading zeros
_NUMBER = re.compile(rb"\s*[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?\s*")
_PLAIN = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-")


@dataclass(frozen=True, slots=True)
class ForeignSensor:
    """Where a number comes from, and what it is.

    Attributes
    ----------
    topic
        A filter of MQTT: ``+`` stands for one level, ``#`` at the end for all that follow.
    pointer
        Where in a JSON payload it stands (RFC 6901); None: the payload is the number.
    name
        Its channel, as nodes name it: ``air``, ``humidity``, ``dough``, ``distance``.
    unit
        Of the number, as SenML writes it.
    node
        Whose reading it is; None: each topic is a node of its own, see :func:`node_of_topic`.
    """

    topic: str
    pointer: str | None
    name: str
    unit: str
    node: NodeId | None = None

    def takes(self, topic: str) -> bool:
        """True for a topic that the filter fits (MQTT 3.1.1, section 4.7).

        >>> ForeignSensor("house/+/air/#", None, "air", "Cel").takes("house/cellar/air/state")
        True
        """
        wanted, levels = self.topic.split("/"), topic.split("/")
        if wanted[-1] == "#":
            wanted.pop()
            levels = levels[: len(wanted)]
        return len(wanted) == len(levels) and all(
            one in ("+", other) for one, other in zip(wanted, levels, strict=True)
        )

    def reading(self, topic: str, payload: bytes, arrived_at: datetime) -> Reading:
        """The reading of a payload that came on a topic that this one takes.

        Raises
        ------
        WireError
            With reason ``payload``, ``pointer``, ``value`` or ``unit``.
        """
        found = payload if self.pointer is None else value_at(json_of(payload), self.pointer)
        number = number_of(found, self.pointer or "")
        channel, value = channel_and_value(self.name, number, self.unit)
        return unnumbered(self.node or node_of_topic(topic), channel, value, arrived_at, arrived_at)


def node_of_topic(topic: str) -> NodeId:
    """The node that a topic stands for: its levels, with any other sign as ``.`` and its bytes in hexadecimal.

    >>> node_of_topic("cellar/tub_2")
    'urn:dev:topic:cellar:tub.5f2'
    """
    name = ":".join("".join(map(_plain, level)) or "." for level in topic.split("/"))
    if len(name) > LONGEST_NAME:  # a batch file names its nodes, and takes no longer ones
        name = f"{name[: LONGEST_NAME - 9]}.{crc32(topic.encode()):08x}"
    return NodeId(f"urn:dev:{SUBTYPE}:{name}")


def _plain(sign: str) -> str:
    return sign if sign in _PLAIN else f".{sign.encode().hex()}"


def json_of(payload: bytes) -> Any:
    """What a payload of JSON holds.

    Raises
    ------
    WireError
        With reason ``payload``.
    """
    if payload.count(b"[") + payload.count(b"{") > MAX_BRACKETS:
        raise WireError("payload", f"more than {MAX_BRACKETS} brackets")
    try:
        return msgspec.json.decode(payload)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise WireError("payload", f"no JSON: {error}") from error


def value_at(found: Any, pointer: str) -> Any:
    """What a JSON pointer points to (RFC 6901).

    Raises
    ------
    WireError
        With reason ``pointer``.
    """
    for part in pointer.split("/")[1:]:
        key = part.replace("~1", "/").replace("~0", "~")
        if isinstance(found, dict) and key in found:
            found = found[key]
        elif isinstance(found, list) and _INDEX.fullmatch(key) and int(key) < len(found):
            found = found[int(key)]
        else:
            raise WireError("pointer", f"nothing stands at {pointer!r}", pointer)
    return found


def numbers_in(found: Any, pointer: str = "") -> Iterator[str]:
    """Where numbers stand in a JSON value, each as its JSON pointer."""
    if isinstance(found, dict):
        for key, value in found.items():
            yield from numbers_in(value, f"{pointer}/{key.replace('~', '~0').replace('/', '~1')}")
    elif isinstance(found, list):
        for at, value in enumerate(found):
            yield from numbers_in(value, f"{pointer}/{at}")
    elif is_number(found):
        yield pointer


def is_number(found: Any) -> bool:
    """True for a number, in quotes or not."""
    try:
        number_of(found, "")
    except WireError:
        return False
    return True


def number_of(found: Any, about: str) -> float:
    """A number, which may stand in quotes or be a payload.

    Raises
    ------
    WireError
        With reason ``value``.
    """
    text = found.encode() if isinstance(found, str) else found
    if isinstance(text, bytes) and _NUMBER.fullmatch(text):
        found = float(text)
    if not isinstance(found, int | float) or isinstance(found, bool):
        raise WireError("value", "is no number", about)
    value = float(found) if abs(found) < 1e300 else float("inf")
    if not isfinite(value):
        raise WireError("value", "is beyond all numbers", about)
    return value
