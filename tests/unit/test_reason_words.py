"""Reasons and troubles in words: each has some, in every language, and they say what the facts say."""

from datetime import UTC
from typing import Any, get_args

import msgspec
import pytest

from monitor.alerts import reasons, troubles
from monitor.alerts.kinds import AlertKind
from monitor.errors import CentralKind, StoreFault
from monitor.wire.readings import Channel, NodeId
from monitor.wording.languages.catalogue import KNOWN, language
from monitor.wording.reader import ENGLISH, Reader
from monitor.wording.reasons import reason_text
from monitor.wording.troubles import notice_text, remedy_text, trouble_text

IN_ENGLISH, IN_GERMAN = Reader(UTC), Reader(UTC, language=language("de"))
EXAMPLES: dict[str, Any] = {  # by the name of a field
    "kind": AlertKind.PAST_PEAK,
    "channels": (Channel.DISTANCE, Channel.AIR_TEMP),
    "trouble": troubles.DiskNearlyFull("/data"),
    "fault": StoreFault.LOCKED,
    "names": ("ntfy#1", "mailto#2"),
    "examples": ("outlook 1: bad",),
    "node": NodeId("urn:dev:mac:020000fffe5e0001"),
    "restarts": 6,
    "rows": 2000,
    "status": 404,
    "text": "as it was said",
    "language": "en",
}


def example(kind: type[troubles.Code]) -> Any:
    """A fact of a kind, with some values."""
    values = {}
    for field in msgspec.structs.fields(kind):
        default = CentralKind.SHUT if kind is troubles.CentralGetsNothing and field.name == "kind" else None
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
