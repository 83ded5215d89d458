"""Why a finished dough was ready when it was: warmth and yeast are told apart from the dough, with their doubt."""

from dataclasses import replace
from datetime import UTC

import pytest
from made_up import batch_of, readings_of

from monitor.dough.causes import Account, account_of
from monitor.dough.prior import prior_of
from monitor.dough.track import EMPTY, Track, track_from_readings
from monitor.dough.verdicts import RiseVerdict, best_rise_pct
from monitor.recipe.batch import Batch
from monitor.recipe.formula import Formula
from monitor.recipe.intent import Intent, Verdict
from monitor.wording.reader import Reader
from monitor.wording.review import calls_sentence, causes_sentence, next_time_lines, outcome_title

MADE = Formula(flour_g=1000.0, water_g=650.0, salt_g=20.0, instant_yeast_g=9.0)


def lived(formula: Formula | None = None, hours: float = 4.0) -> tuple[Batch, Track]:
    """A dough at 27 C that doubles in two hours."""
    batch = replace(batch_of("Hazel loaf", hours=hours), formula=formula)
    return batch, track_from_readings(batch, readings_of(batch, hours=hours))


def account(intent: Intent, formula: Formula | None = None, hours: float = 4.0) -> Account:
    batch, track = lived(formula, hours)
    assert batch.ended_at is not None
    found = account_of(batch, track, batch.ended_at, intent, prior_of(batch))
    assert found is not None
    return found


# The dough of these tests lies flat, where a dome is expected: it is thought a little behind what is seen of it.
DOME_MIN = 10.0


def test_the_middles_walk_from_the_plan_to_ready() -> None:
    found = account(Intent(24.0, replace(MADE, instant_yeast_g=6.0), 150.0), MADE)
    assert found.yeast_min is not None
    assert found.ready_min is not None
    walked = found.plan_min + found.warmth_min.p50 + found.yeast_min.p50 + found.rest_min.p50
    assert walked == pytest.approx(found.ready_min.p50, abs=0.1)
    assert found.ready_min.p50 == pytest.approx(120.0, abs=DOME_MIN)
    assert found.taken_min == 240.0


def test_warmer_dough_and_more_yeast_each_brought_it_forward() -> None:
    found = account(Intent(24.0, replace(MADE, instant_yeast_g=6.0), 150.0), MADE)
    # 27 C against 24 C: the cardinal card has the rate at 24 C at about three quarters of that at 27 C
    assert -50.0 < found.warmth_min.p50 < -18.0
    assert found.warmth_min.p05 < found.warmth_min.p50 < found.warmth_min.p95 < 0.0
    assert found.yeast_min is not None
    assert found.yeast_min.p95 < -15.0
    assert found.warmer_c == pytest.approx(3.0, abs=0.05)
    assert found.warmer_h == pytest.approx(2.0, abs=DOME_MIN / 60.0)


def test_a_dough_kept_to_its_plan_owes_nothing_to_warmth_or_yeast() -> None:
    found = account(Intent(27.0, MADE, 120.0), MADE)
    assert found.warmth_min.p50 == pytest.approx(0.0, abs=0.5)
    assert found.yeast_min is None
    assert found.rest_min.p50 == pytest.approx(0.0, abs=DOME_MIN)


def test_without_a_planned_time_it_is_held_against_what_such_doughs_take() -> None:
    found = account(Intent(27.0), MADE)
    assert found.plan_doubt_min is not None
    assert found.plan_doubt_min.p05 < found.plan_min < found.plan_doubt_min.p95


def test_what_to_change_brings_it_to_the_planned_hour() -> None:
    found = account(Intent(27.0, None, 160.0), MADE)
    assert found.wanted_temp_c is not None
    assert found.wanted_yeast_frac is not None
    assert found.wanted_temp_c < 26.0
    assert found.wanted_yeast_frac < 0.9
    again = account(Intent(found.wanted_temp_c, None, 160.0), MADE)
    assert 160.0 + again.rest_min.p50 == pytest.approx(160.0, abs=3.0)  # in that warmth it is ready as planned


def test_nothing_is_said_of_a_dough_nobody_measured() -> None:
    batch, track = lived()
    blind = Track(track.air_temp_c, track.humidity_pct, track.dough_temp_c, EMPTY, EMPTY)
    assert batch.ended_at is not None
    assert account_of(batch, blind, batch.ended_at, Intent(), prior_of(batch)) is None


def test_taken_before_it_was_ready_has_no_moment_but_causes() -> None:
    found = account(Intent(27.0, None, 120.0), hours=1.0)
    assert found.ready_min is None
    batch, _ = lived(hours=1.0)
    assert "before it was ready" in outcome_title(found, batch, None, Reader(UTC))


def test_the_words_say_outcome_causes_and_what_to_change() -> None:
    batch, _ = lived(MADE)
    found = account(Intent(24.0, replace(MADE, instant_yeast_g=6.0), 150.0), MADE)
    assert outcome_title(found, batch, None, Reader(UTC)) == "taken 1 h 53 min after it was ready"
    assert outcome_title(found, batch, Verdict.OVER, Reader(UTC)) == "over-proofed by 1 h 53 min"
    assert outcome_title(found, batch, Verdict.RIGHT, Reader(UTC)) == "right, taken 1 h 53 min after it was ready"
    said = causes_sentence(found, Reader(UTC))
    assert "arm dough brought it forward by about" in said
    assert "the yeast brought it forward" in said or "The yeast brought it forward" in said
    assert "3.0 °C warmer than planned" in said
    assert "5.4 °F warmer" in causes_sentence(found, Reader(UTC, "F"))
    lines = next_time_lines(found, batch, None, Reader(UTC))
    assert lines[0].startswith("Kept to what was planned, this dough would have been ready after ")
    assert any("of its yeast" in line for line in lines)
    assert any("look after" in line for line in lines)


def test_no_call_is_said_to_be_no_call() -> None:
    batch, _ = lived()
    found = account(Intent(27.0, None, 120.0))
    assert calls_sentence(found, batch, [], Reader(UTC)) == "No call went out."


def test_verdicts_move_the_band_and_more_of_them_move_it_surely() -> None:
    none = best_rise_pct([], 100.0)
    assert none.p50 == pytest.approx(100.0, abs=2.0)
    over = best_rise_pct([RiseVerdict(100.0, Verdict.OVER)], 100.0)
    under = best_rise_pct([RiseVerdict(100.0, Verdict.UNDER)], 100.0)
    assert over.p50 < none.p50 < under.p50
    right = best_rise_pct([RiseVerdict(60.0, Verdict.RIGHT)] * 4 + [RiseVerdict(100.0, Verdict.OVER)], 100.0)
    assert right.p50 == pytest.approx(60.0, abs=12.0)
    assert right.p95 - right.p05 < none.p95 - none.p05
