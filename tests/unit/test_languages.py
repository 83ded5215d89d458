"""Every sentence has its translation, whole: none is missing, none is there in vain, and their holes are the same."""

import ast
import tomllib
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from babel import Locale
from catalogues import ROOT, catalogue, extracted, forms, holes, keys_of

from monitor import errors
from monitor.wording.languages.catalogue import KNOWN, language
from monitor.wording.phrases import mass_text, temp_text, weigh_text
from monitor.wording.reader import ENGLISH, Reader
from monitor.wording.times import clock_text

OTHERS = sorted(set(KNOWN) - {ENGLISH.code})
MONDAY = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)


def keywords() -> set[str]:
    """What marks a sentence for the translators."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text())
    return {each.partition(":")[0] for each in settings["tool"]["babel"]["mappings"][1]["keywords"]}


def test_every_kind_of_error_is_looked_through():
    kinds = {
        name for name, kind in vars(errors).items() if isinstance(kind, type) and issubclass(kind, errors.MonitorError)
    }
    assert kinds - {"WireError", "FaultsError"} <= keywords()  # these two say their sentences themselves


@pytest.mark.long
def test_babel_finds_every_marked_sentence():
    """It overlooks those inside an f-string, and those deep inside another sentence's holes."""
    found, marks, missed = keys_of(extracted()), keywords(), []
    for path in sorted([*(ROOT / "monitor").rglob("*.py"), *(ROOT / "dashboard").rglob("*.py")]):
        where = path.relative_to(ROOT)
        if where.is_relative_to("monitor/backtest") or where.is_relative_to("monitor/wire"):
            continue
        for call in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(call, ast.Call) and ast.unparse(call.func).rpartition(".")[2] in marks:
                texts = [each.value for each in call.args if isinstance(each, ast.Constant)]
                if texts and isinstance(texts[0], str) and texts[0] and texts[0] not in found:
                    missed.append(f"{where}:{call.lineno}: {texts[0]}")
    assert missed == []


@pytest.mark.parametrize("code", OTHERS)
def test_a_language_is_called_as_it_calls_itself(code):
    assert KNOWN[code] == Locale(code).get_display_name()


@pytest.mark.parametrize("code", OTHERS)
def test_every_sentence_is_translated_and_none_in_vain(code):
    said = keys_of(extracted())
    there = keys_of(catalogue(code))
    assert sorted(said - there) == [], "monitor/wording/README.md says how to add what is missing"
    assert sorted(there - said) == []


@pytest.mark.parametrize("code", OTHERS)
def test_a_translation_has_the_holes_of_its_sentence_and_is_not_empty(code):
    wrong = []
    for message in filter(lambda each: each.id, catalogue(code)):
        source = forms(message.id)[-1]
        asked, spare = holes(source), {"n"} if message.pluralizable else set()
        for told in forms(message.string):
            is_padded = told != told.strip() and source == source.strip()
            if not told.strip() or is_padded or not asked - spare <= holes(told) <= asked:
                wrong.append(message.id)
    assert wrong == []


@pytest.mark.parametrize("code", OTHERS)
def test_a_translation_ends_as_its_sentence_does(code):
    pairs = [
        (source, told)
        for message in filter(lambda each: each.id, catalogue(code))
        for source, told in zip(forms(message.id), forms(message.string), strict=False)
    ]
    assert [source for source, told in pairs if (source[-1] in ".:?") != (told[-1] in ".:?")] == []


def test_a_sentence_counts_in_the_form_of_the_language():
    german = Reader(UTC, language=language("de"))
    assert [german.count(n, "{n} alert", "{n} alerts") for n in (0, 1, 2)] == [
        "0 Meldungen",
        "1 Meldung",
        "2 Meldungen",
    ]
    assert Reader(UTC).count(1, "{n} alert", "{n} alerts") == "1 alert"


def test_days_and_numbers_are_told_in_the_language():
    german = Reader(UTC, language=language("de"))
    assert clock_text(MONDAY + timedelta(days=3), german, MONDAY) == "Donnerstag 09:30"
    assert clock_text(MONDAY + timedelta(days=1), german, MONDAY) == "morgen 09:30"
    assert temp_text(25.3, german) == "25,3 °C (77,5 °F)"


def test_what_is_not_translated_stays_as_it_is():
    german = Reader(UTC, language=language("de"))
    assert german.say("{no} such sentence", no="there is") == "there is such sentence"
    assert german.say("a {brace} without a hole") == "a {brace} without a hole"


def test_twelve_hours_and_ounces_are_told_when_asked_for():
    american = Reader(UTC, "F", "oz", "12")
    assert [clock_text(MONDAY.replace(hour=hour), american) for hour in (0, 9, 12, 21)] == [
        "12:30\u00a0AM", "9:30\u00a0AM", "12:30\u00a0PM", "9:30\u00a0PM",
    ]  # fmt: skip
    assert temp_text(25.0, american) == "77.0 °F (25.0 °C)"
    assert mass_text(450.0, american) == "15.9 oz (450 g)"
    assert weigh_text(20.0, american) == "0.71 oz"


@pytest.mark.parametrize(
    ("zone", "first", "words"),
    [
        ("Europe/Vienna", datetime(2026, 10, 25, 0, 30, tzinfo=UTC), "02:30"),
        ("America/New_York", datetime(2026, 11, 1, 5, 30, tzinfo=UTC), "01:30"),
    ],
)
def test_an_hour_that_comes_twice_says_which(zone, first, words):
    reader = Reader(ZoneInfo(zone))
    assert clock_text(first, reader) == f"{words} (summer time)"
    assert clock_text(first + timedelta(hours=1), reader) == f"{words} (winter time)"
    assert clock_text(first + timedelta(hours=2), reader) == f"{int(words[:2]) + 1:02d}:30"
    german = Reader(ZoneInfo(zone), language=language("de"))
    assert clock_text(first, german) == f"{words} (Sommerzeit)"
