"""The outlook of fixed recordings at several moments: a change of the estimator is seen here, and is meant or mended.

Where a score moves, the gate of ``test_accuracy`` says whether it is for better or worse; what is meant is written down
with ``--update-golden``.

The tolerances are for rounding alone. Another processor's arithmetic (OpenBLAS made to take its kernels for Haswell,
Nehalem, Zen, Sandy Bridge; NumPy without its AVX loops) changed no number here in its third decimal; but moments are
whole seconds, 0.017 min, and one may round to the other side.
"""

import json
from typing import Any

import pytest
from golden import Golden
from recordings import KINDS, RECORDINGS, looks

WITHIN = 0.02  # minutes, or points of rise or chance
SHARE = 1e-4


@pytest.mark.parametrize("name", KINDS)
def test_the_outlook_is_what_it_was(golden: Golden, name: str) -> None:
    folder = RECORDINGS / name.replace(" ", "-")
    golden.facts(folder / "outlooks.json", looks(folder), within=WITHIN, share=SHARE)


def test_each_state_is_among_them() -> None:
    kept = [json.loads(path.read_text()) for path in RECORDINGS.glob("*/outlooks.json")]
    states = {look["state"] for looks_of in kept for look in looks_of}
    assert states >= {"no rise yet", "rising", "nearly_ready", "ready", "at_peak", "past_peak", "not_rising"}


@pytest.fixture(scope="module")
def said() -> list[dict[str, Any]]:
    return [look for name in KINDS for look in looks(RECORDINGS / name.replace(" ", "-"))]


@pytest.mark.long
def test_a_peak_lies_ahead_until_it_is_passed_by_four_chances_in_five(said: list[dict[str, Any]]) -> None:
    likely = [look for look in said if 50.0 < look["past_peak_chance"] <= 80.0]
    assert likely, "a recording in which the peak has likely passed"
    for look in said:
        if look["past_peak_chance"] <= 80.0:
            assert look["state"] != "past_peak"
            assert look["peak"]["p05"] is None or look["peak"]["p05"] >= look["at"]


def test_a_peak_that_is_passed_lies_behind(said: list[dict[str, Any]]) -> None:
    passed = [look for look in said if look["state"] == "past_peak"]
    assert all(look["peak"]["p95"] < look["at"] for look in passed if look["past_peak_chance"] > 99.0)
    assert passed
