"""How things are told, from the settings: usual values, each setting read, a slip answered with the nearest."""

from zoneinfo import ZoneInfo

import pytest

from monitor.settings.manners import KEYS, local_zone, manner_from, settings_lines


def test_from_nothing_come_celsius_grams_a_full_day_and_english():
    manner, faults = manner_from({})
    assert (manner.temp_unit, manner.mass_unit, manner.clock, manner.language.code) == ("C", "g", "24", "en")
    assert (manner.zone, faults) == (local_zone(), [])


def test_each_setting_is_read_and_told_by_check():
    table = {"timezone": "Europe/Vienna", "temp_unit": "F", "mass_unit": "oz", "clock": 12, "language": "de"}
    manner, faults = manner_from(table)
    assert faults == []
    assert manner.zone == ZoneInfo("Europe/Vienna")
    assert manner.language.code == "de"
    assert settings_lines(manner) == [f"{key} = {table[key]}" for key in KEYS]


@pytest.mark.parametrize(
    ("key", "value", "hint"),
    [
        ("timezone", "Europe/Viena", "did you mean 'Europe/Vienna'?"),
        ("temp_unit", "celsius", "did you mean 'C'?"),
        ("temp_unit", "K", "known: 'C', 'F'"),
        ("mass_unit", "grams", "did you mean 'g'?"),
        ("clock", 13, "known: '24', '12'"),
        ("language", "deutsch", "did you mean 'de'?"),
        ("language", "", "known: 'en', 'de'"),
    ],
)
def test_a_slip_is_answered_with_the_nearest_or_with_all_there_are(key, value, hint):
    _, (fault,) = manner_from({key: value})
    assert fault.startswith(f"{key} = {value!r} ")
    assert fault.endswith(hint)
