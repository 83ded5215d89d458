"""Friction of a mixer, learned from what it has mixed."""

from datetime import UTC, datetime

import pytest

from monitor.recipe.mixing import USUAL_C_PER_MIN, Mix, learned_friction

AT = datetime(2026, 3, 2, 6, tzinfo=UTC)


def mix(friction_c: float, minutes: float = 10.0) -> Mix:
    """A mix at 20 C all round that came out warmer by its friction."""
    return Mix("bench", AT, minutes, 20.0 + friction_c, 20.0, 20.0, 20.0)


def test_without_a_mix_the_handbook_counts():
    found = learned_friction([])
    assert (found.c_per_min, found.n_mixes) == (USUAL_C_PER_MIN, 0)


def test_mixes_of_one_mixer_are_believed_more_and_more():
    few, many = learned_friction([mix(7.0)]), learned_friction([mix(7.0)] * 12)
    assert USUAL_C_PER_MIN < few.c_per_min < many.c_per_min < 0.7
    assert many.c_per_min == pytest.approx(0.7, abs=0.01)
    assert many.sd_c_per_min < few.sd_c_per_min


def test_one_slip_of_the_probe_does_not_count():
    good = [mix(5.0)] * 6
    assert learned_friction([*good, mix(-13.0)]).c_per_min == pytest.approx(learned_friction(good).c_per_min, abs=0.02)


def test_short_mixes_say_little():
    short, long = learned_friction([mix(1.4, 2.0)]), learned_friction([mix(10.0, 15.0)])
    assert abs(short.c_per_min - USUAL_C_PER_MIN) < abs(long.c_per_min - USUAL_C_PER_MIN)
    assert learned_friction([mix(4.0, 0.0)]).n_mixes == 0


def test_the_doubt_of_a_mix_never_vanishes():
    _, sd_c = learned_friction([mix(5.0)] * 100).of(10.0)
    assert sd_c > 0.4
