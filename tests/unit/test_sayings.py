"""Sentences that remember how they were made: English for a log, and in the language of whoever reads them."""

import pickle
import string
from dataclasses import replace
from datetime import UTC

import pytest
from sentences import ERRORS, catalogue, kept

from monitor import errors
from monitor.clock import SystemClock
from monitor.errors import CentralError, CentralKind, ConfigError, NotifyError, StoreError, UnfitError, saying_of
from monitor.health.checks import store_lookout
from monitor.health.counters import Pulse
from monitor.health.supervisor import Notice, Supervisor
from monitor.recipe.toml_tables import Faults
from monitor.translatable import Half, Number, Opening, Saying, several
from monitor.wording.languages.catalogue import KNOWN, language
from monitor.wording.reader import ENGLISH, LEAST_LETTERS, Reader

OTHERS = sorted(set(KNOWN) - {ENGLISH.code})
GERMAN = Reader(UTC, language=language("de"))
SALT = Saying(
    "salt is {salt_pct} % of all flour; {low} to {high} % is usual", salt_pct=Number(0.44, ".1f"), low=1, high=3
)
NO_BATCH = "{path}: has no batch {batch_id}; see the list of batches for the numbers there are"
GONE = StoreError(NO_BATCH, path="a.db", batch_id=7)


def holes(text: str) -> set[str]:
    """Its named holes; braces that show what to write into a file are none."""
    return {name for _, name, _, _ in string.Formatter().parse(text) if name and name.isidentifier()}


def test_a_saying_is_its_english_text_and_is_told_in_the_language_of_the_reader():
    assert SALT == "salt is 0.4 % of all flour; 1 to 3 % is usual"
    assert Reader(UTC).told(SALT) == SALT
    assert GERMAN.told(SALT) == "das Salz macht 0,4 % des gesamten Mehls aus; üblich sind 1 bis 3 %"


def test_an_error_is_english_in_a_log_and_german_where_it_fills_a_hole():
    assert str(GONE) == "a.db: has no batch 7; see the list of batches for the numbers there are"
    told = "a.db: hat keinen Teig 7; siehe die Liste der Teige für die vorhandenen Nummern"
    assert GERMAN.told(GONE) == told
    assert GERMAN.say("Not kept: {why}", why=GONE) == f"Nicht gespeichert: {told}"


def test_a_text_that_a_store_kept_is_recognised_with_what_fills_its_holes():
    assert GERMAN.told(str(GONE)) == GERMAN.told(GONE)
    assert GERMAN.told("air 31.2 C, limit 30.0 C") == "Luft 31,2 °C, Grenze 30,0 °C"
    assert GERMAN.told("no longer so: the collector hangs") == "nicht mehr so: der Sammler hängt"
    assert Reader(UTC).told(str(GONE)) == str(GONE)


@pytest.mark.parametrize(
    "text", ["", "Rye, first rise", "poked by Anna; two fingers", "x" * 5000, "{braces} and {more}"]
)
def test_a_text_of_somebodys_own_stays_as_it_is(text):
    assert GERMAN.told(text) == text


def test_what_fills_a_hole_is_no_sentence_to_be_recognised():
    assert GERMAN.say("Kept: {what}", what="the collector hangs").endswith("the collector hangs")
    assert GERMAN.told(Saying("{part} has no flour", part="recipe")) == "recipe hat kein Mehl"


def test_halves_openings_and_several_are_told_as_what_they_were_made_from():
    what, mend = Half(GONE.saying, 0), Half(GONE.saying, 1)
    assert (what, mend) == ("a.db: has no batch 7", "see the list of batches for the numbers there are")
    assert GERMAN.told(what) == "a.db: hat keinen Teig 7"
    assert GERMAN.told(mend) == "siehe die Liste der Teige für die vorhandenen Nummern"
    assert GERMAN.told(str(what)) == GERMAN.told(what)
    assert GERMAN.told(Opening(Saying("the collector hangs"))) == "Der Sammler hängt"
    assert GERMAN.told(several([Saying("heard again"), Saying("it is falling")], ", ")) == "wieder gehört, er fällt"


def test_every_fault_of_a_file_is_told():
    faults = Faults("rye.toml", Saying("a recipe file"))
    faults.unknown({"nmae": 1}, ("name",), "")
    faults.number({"depth_mm": -1}, "depth_mm", "vessel.", at_most=100.0)
    with pytest.raises(ConfigError) as caught:
        faults.raise_any()
    assert str(caught.value).splitlines() == [
        "rye.toml: 2 faults",
        "  nmae is not a key of a recipe file; did you mean 'name'?",
        "  vessel.depth_mm = -1 must be a number above 0, at most 100",
    ]
    assert GERMAN.told(caught.value).splitlines() == [
        "rye.toml: 2 Fehler",
        "  nmae ist kein Schlüssel einer Rezeptdatei; ist 'name' gemeint?",
        "  vessel.depth_mm = -1 muss eine Zahl über 0 sein, höchstens 100",
    ]


@pytest.mark.parametrize(
    "error",
    [
        ConfigError("{path}: is no TOML: {why}", path="a.toml", why=Number(1.5)),
        CentralError("central: {why}", CentralKind.SHUT, why="shut"),
        NotifyError("{name}: {why}", retry=True, name="ntfy", why="no"),
        UnfitError("{cell!r} is no number", cell="x"),
    ],
)
def test_an_error_that_comes_from_another_process_says_the_same(error):
    if isinstance(error, CentralError | NotifyError):
        again = pickle.loads(pickle.dumps(error.saying))
        assert (again, again.holes) == (error.saying, error.saying.holes)
    else:
        again = pickle.loads(pickle.dumps(error))
        assert (str(again), GERMAN.told(again)) == (str(error), GERMAN.told(error))


def test_a_value_that_does_not_fit_is_a_value_error_and_passes_its_words_on():
    with pytest.raises(ValueError, match="no number") as caught:
        raise UnfitError("{cell!r} is no number", cell="x")
    assert GERMAN.told(ConfigError(saying_of(caught.value))) == "'x' ist keine Zahl"
    assert saying_of(ValueError("of a library")) == "of a library"


def test_every_kind_of_error_is_looked_through():
    kinds = {
        name for name, kind in vars(errors).items() if isinstance(kind, type) and issubclass(kind, errors.MonitorError)
    }
    assert kinds - {"WireError"} <= ERRORS


@pytest.mark.parametrize("code", OTHERS)
def test_every_error_and_saying_is_told_in_another_language(code):
    reader = Reader(UTC, language=language(code))
    found = kept()
    assert len(found) > 300
    stays = [each.text for each in found if each.text not in reader.language.sentences]
    assert stays == []
    wrong = []
    for each in found:
        filled = {name: f"<{name}>" for name in holes(each.text)}
        told = reader.told(ConfigError(each.text, **filled))
        if not all(repr(value) in told or value in told for value in filled.values()):
            wrong.append(each.text)
    assert wrong == []


@pytest.mark.parametrize("code", OTHERS)
def test_both_halves_of_a_sentence_stay_halves(code):
    """What is wrong comes before the last semicolon, and what to do after it: some are told apart."""
    wrong = []
    for message in catalogue(code):
        if not isinstance(message.id, str) or "; " not in message.id or "; " not in message.string:
            continue
        pairs = zip(message.id.rpartition("; ")[::2], message.string.rpartition("; ")[::2], strict=True)
        if "{" in message.id and any(not holes(told) <= holes(source) for source, told in pairs):
            wrong.append(message.id)
    assert wrong == []


@pytest.mark.parametrize("code", OTHERS)
def test_a_kept_text_finds_its_own_sentence_again(code):
    """Every sentence whose holes can be filled again from its text gives the same, recognised or remembered."""
    reader = Reader(UTC, language=language(code))
    wrong = []
    for each in kept():
        names = holes(each.text)
        own = sum(letter.isalpha() for words, *_ in string.Formatter().parse(each.text) for letter in words)
        if not names or "!r" in each.text or own < LEAST_LETTERS or len(reader.language.sentences[each.text]) > 1:
            continue
        filled = {name: f"Ab{number}" for number, name in enumerate(sorted(names))}
        saying = Saying(each.text, **filled)
        if reader.told(str(saying)) != reader.told(saying):
            wrong.append((each.text, reader.told(str(saying))))
    assert wrong == []


def test_the_keeper_is_told_of_a_trouble_in_a_language_and_the_log_stays_english(
    caplog: pytest.LogCaptureFixture,
) -> None:
    told: list[Notice] = []
    clock = SystemClock()
    pulse = Pulse(clock)
    pulse.store_trouble = GONE.saying

    def heard(notice: Notice) -> bool:
        told.append(notice)
        return True

    look = store_lookout(pulse)
    at_once = Supervisor([lambda: [replace(each, after_s=0.0) for each in look()]], heard, clock)
    at_once.go_round()
    (notice,) = told
    assert notice.text == (
        "Nothing can be stored, and no call about a dough goes out (a.db: has no batch 7); the nodes keep what they "
        "can. What to do: see the list of batches for the numbers there are; it then goes on by itself."
    )
    assert (GERMAN.told(notice.title), GERMAN.told(notice.text)) == (
        "Die Überwachung braucht Hilfe",
        "Nichts lässt sich speichern, und kein Ruf zu einem Teig geht hinaus (a.db: hat keinen Teig 7); die Knoten "
        "bewahren, was sie können. Was zu tun ist: siehe die Liste der Teige für die vorhandenen Nummern; danach geht "
        "es von selbst weiter.",
    )
    assert "nothing can be stored" in caplog.text
