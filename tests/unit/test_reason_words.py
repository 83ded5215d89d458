"""Reasons and troubles in words: each has some, in every language, and they say what the facts say."""

import re
from datetime import UTC, datetime
from typing import Any, get_args

import msgspec
import pytest

from monitor.alerts import reasons, troubles
from monitor.alerts.kinds import AlertKind
from monitor.commands.parameters import moment
from monitor.dough.outlook import Cause, ObstructionKind
from monitor.errors import CentralKind, ReplicaFault, StoreFault
from monitor.wire.readings import Channel, NodeId
from monitor.wording.languages.catalogue import KNOWN, language
from monitor.wording.reader import ENGLISH, Reader
from monitor.wording.reasons import reason_text
from monitor.wording.troubles import notice_text, remedy_text, trouble_text

IN_ENGLISH, IN_GERMAN = Reader(UTC), Reader(UTC, language=language("de"))
EXAMPLES: dict[str, Any] = {  # by the name of a field
    "kind": AlertKind.PAST_PEAK,
    "cause": Cause.NO_LIVE_YEAST,
    "by": ObstructionKind.LID,
    "channels": (Channel.DISTANCE, Channel.AIR_TEMP),
    "trouble": troubles.DiskNearlyFull("/data"),
    "fault": StoreFault.LOCKED,
    "names": ("ntfy#1", "mailto#2"),
    "examples": ("outlook 1: bad",),
    "node": NodeId("urn:dev:mac:020000fffe5e0001"),
    "restarts": 6,
    "number": 2,
    "of": 4,
    "rows": 2000,
    "sensor": "dough",
    "times": 118,
    "pins": (4,),
    "unread_min": 60.0,
    "signal_dbm": -84,
    "free_bytes": 4096,
    "status": 404,
    "text": "as it was said",
    "language": "en",
    "shipped_at": datetime(2026, 3, 2, 5, 40, tzinfo=UTC),
    "found_at": datetime(2026, 3, 2, 5, 50, tzinfo=UTC),
}
OF_A_KIND: dict[tuple[type, str], Any] = {
    (troubles.NodeRestarts, "cause"): "watchdog",
    (troubles.SensorUnread, "fault"): "power-on",
    (troubles.CentralGetsNothing, "kind"): CentralKind.SHUT,
    (troubles.ReplicaLate, "fault"): ReplicaFault.TAKEN,
}


def example(kind: type[troubles.Code]) -> Any:
    """A fact of a kind, with some values."""
    values = {}
    for field in msgspec.structs.fields(kind):
        default = OF_A_KIND.get((kind, field.name))
        values[field.name] = default or EXAMPLES.get(field.name, 12.5 if field.type is float else f"/{field.name}")
    return kind(**values)


REASONS = [example(kind) for kind in dict.fromkeys([*get_args(reasons.Reason), *get_args(reasons.Explanation)])]
TROUBLES = [example(kind) for kind in get_args(troubles.Trouble)]


@pytest.mark.parametrize("fact", REASONS, ids=lambda fact: type(fact).__name__)
def test_every_reason_has_its_own_words_in_every_language(fact: Any) -> None:
    said = {code: reason_text(fact, Reader(UTC, language=language(code))) for code in KNOWN}
    assert all(said.values())
    if not isinstance(fact, reasons.PlainText):
        assert len(set(said.values())) == len(KNOWN)
    others = [reason_text(other, IN_ENGLISH) for other in REASONS if other != fact]
    assert said[ENGLISH.code] not in others


@pytest.mark.parametrize("trouble", TROUBLES, ids=lambda trouble: type(trouble).__name__)
def test_every_trouble_and_its_remedy_have_words_in_every_language(trouble: troubles.Trouble) -> None:
    for words in (trouble_text, remedy_text):
        said = [words(trouble, Reader(UTC, language=language(code))) for code in KNOWN]
        assert all(said)
        assert len(set(said)) == len(KNOWN)


@pytest.mark.parametrize("fact", [*REASONS, *(reasons.TroubleSeen(each) for each in TROUBLES)], ids=repr)
def test_a_fact_is_kept_as_code_and_values_and_read_again(fact: Any) -> None:
    text = msgspec.json.encode(fact)
    assert text.startswith(b'{"code":"')
    assert msgspec.json.decode(text, type=reasons.Reason | reasons.Explanation) == fact


def test_codes_are_no_two_times_the_same() -> None:
    codes = [kind.__struct_config__.tag for kind in (*map(type, REASONS), *map(type, TROUBLES))]
    assert len(set(codes)) == len(codes)


@pytest.mark.parametrize("text", ['{"code":"no_such"}', '{"code":"oven_needs_time"}', '"prose"'])
def test_what_is_no_fact_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"code|preheat|object"):
        msgspec.json.decode(text, type=reasons.Reason)


def test_values_are_said_in_the_readers_units_and_numbers() -> None:
    warm = reasons.AirAgainstLimit(31.24, 30.0)
    assert reason_text(warm, IN_ENGLISH) == "air 31.2 °C (88.2 °F), limit 30.0 °C (86.0 °F)"
    assert reason_text(warm, IN_GERMAN) == "Luft 31,2 °C (88,2 °F), Grenze 30,0 °C (86,0 °F)"
    assert reason_text(reasons.OvenNeedsTime(45.0), IN_ENGLISH) == "the oven needs 45 min"
    unread = reasons.ChannelsUnread(10.0, (Channel.DISTANCE, Channel.HUMIDITY))
    assert reason_text(unread, IN_ENGLISH) == "no reading for 10 min: height, humidity"


def test_a_store_that_cannot_be_written_says_what_and_what_to_do() -> None:
    trouble = troubles.StoreUnusable(StoreFault.FULL, "/d/proofing.sqlite", "database or disk is full")
    assert notice_text(trouble, IN_ENGLISH, is_over=False) == (
        "Nothing can be stored, and no call about a dough goes out (/d/proofing.sqlite: database or disk is full); the "
        "nodes keep what they can. What to do: make room on this disk, then start again; it then goes on by itself."
    )
    assert notice_text(trouble, IN_GERMAN, is_over=True).startswith("Nicht mehr so: nichts lässt sich speichern")


def test_one_row_is_said_as_one() -> None:
    assert trouble_text(troubles.CentralLate(1), IN_ENGLISH).endswith("1 row waits to be sent")
    assert trouble_text(troubles.CentralLate(2), IN_ENGLISH).endswith("2 rows wait to be sent")


@pytest.mark.parametrize(
    ("status", "why"),
    [
        (None, "gets nothing from here: OSError"),
        (401, "gets nothing from here: the token is not known there; mend influx_token in secrets.toml"),
        (502, "gets nothing from here: it answered 502 OSError"),
    ],
)
def test_the_central_store_says_why(status: int | None, why: str) -> None:
    trouble = troubles.CentralGetsNothing("http://c:8086", CentralKind.AWAY, "OSError", status)
    assert trouble_text(trouble, IN_ENGLISH).endswith(why)


@pytest.mark.parametrize("reader", [IN_ENGLISH, IN_GERMAN], ids=lambda reader: reader.language.code)
def test_the_moment_to_bring_back_is_the_one_that_was_found_within_its_second_too(reader: Reader) -> None:
    found_at = datetime(2026, 3, 2, 5, 50, 7, 250_001, tzinfo=UTC)
    said = re.search(r"--at (\S+)", remedy_text(troubles.StoreOlder("s3://bakery/rye", found_at, found_at), reader))
    assert said is not None
    assert moment(said[1]) == found_at
