"""Sentences that remember how they were made: English for a log, and in the language of whoever reads them."""

import pickle
from datetime import UTC

import pytest

from monitor.errors import CentralError, CentralKind, ConfigError, NotifyError, StoreError, UnfitError, message_of_error
from monitor.recipe.toml_tables import Faults
from monitor.translatable import Number, Translatable, joined
from monitor.wording.languages.catalogue import language
from monitor.wording.reader import Reader

GERMAN = Reader(UTC, language=language("de"))
SALT = Translatable(
    "salt is {salt_pct} % of all flour; {low} to {high} % is usual", salt_pct=Number(0.44, ".1f"), low=1, high=3
)
NO_BATCH = "{path}: has no batch {batch_id}; see the list of batches for the numbers there are"
GONE = StoreError(NO_BATCH, path="a.db", batch_id=7)


def test_a_saying_is_its_english_text_and_is_told_in_the_language_of_the_reader():
    assert SALT == "salt is 0.4 % of all flour; 1 to 3 % is usual"
    assert Reader(UTC).text(SALT) == SALT
    assert GERMAN.text(SALT) == "das Salz macht 0,4 % des gesamten Mehls aus; üblich sind 1 bis 3 %"


def test_an_error_is_english_in_a_log_and_german_where_it_fills_a_hole():
    assert str(GONE) == "a.db: has no batch 7; see the list of batches for the numbers there are"
    told = "a.db: hat keinen Teig 7; siehe die Liste der Teige für die vorhandenen Nummern"
    assert GERMAN.text(GONE) == told
    assert GERMAN.say("the monitor cannot look after itself: {why}", why=GONE).endswith(told)


@pytest.mark.parametrize(
    "text", ["", "Rye, first rise", "poked by Anna; two fingers", "x" * 5000, "{braces} and {more}"]
)
def test_a_text_of_somebodys_own_stays_as_it_is(text):
    assert GERMAN.text(text) == text


def test_several_are_said_each_in_the_language():
    assert GERMAN.text(joined([Translatable("{part} has no flour", part="Rye"), SALT], "; ")) == (
        "Rye hat kein Mehl; das Salz macht 0,4 % des gesamten Mehls aus; üblich sind 1 bis 3 %"
    )


def test_what_fills_a_hole_is_no_sentence_to_be_looked_up():
    assert GERMAN.say("Kept: {what}", what="the collector hangs").endswith("the collector hangs")


def test_every_fault_of_a_file_is_told():
    faults = Faults("rye.toml", Translatable("a recipe file"))
    faults.unknown({"nmae": 1}, ("name",), "")
    faults.number({"depth_mm": -1}, "depth_mm", "vessel.", at_most=100.0)
    with pytest.raises(ConfigError) as caught:
        faults.raise_any()
    assert str(caught.value).splitlines() == [
        "rye.toml: 2 faults",
        "  nmae is not a key of a recipe file; did you mean 'name'?",
        "  vessel.depth_mm = -1 must be a number above 0, at most 100",
    ]
    assert GERMAN.text(caught.value).splitlines() == [
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
        again = pickle.loads(pickle.dumps(error.message))
        assert (again, again.holes) == (error.message, error.message.holes)
    else:
        again = pickle.loads(pickle.dumps(error))
        assert (str(again), GERMAN.text(again)) == (str(error), GERMAN.text(error))


def test_a_value_that_does_not_fit_is_a_value_error_and_passes_its_words_on():
    with pytest.raises(ValueError, match="no number") as caught:
        raise UnfitError("{cell!r} is no number", cell="x")
    assert GERMAN.text(ConfigError(message_of_error(caught.value))) == "'x' ist keine Zahl"
    assert message_of_error(ValueError("of a library")) == "of a library"
