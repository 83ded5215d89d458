"""How things are told, from the settings: usual values, each setting read, a slip answered with the nearest."""

from zoneinfo import ZoneInfo

import pytest

from monitor.settings.reader import KEYS, local_zone, reader_from, settings_lines


def test_from_nothing_come_celsius_grams_a_full_day_and_english():
    reader, faults = reader_from({})
    assert (reader.temp_unit, reader.mass_unit, reader.clock, reader.language.code) == ("C", "g", "24", "en")
    assert (reader.zone, faults) == (local_zone(), [])


def test_each_setting_is_read_and_told_by_check():
    table = {"timezone": "Europe/Vienna", "temp_unit": "F", "mass_unit": "oz", "clock": 12, "language": "de"}
    reader, faults = reader_from(table)
    assert faults == []
    assert reader.zone == ZoneInfo("Europe/Vienna")
    assert reader.language.code == "de"
    assert settings_lines(reader) == [f"{key} = {table[key]}" for key in KEYS]


@pytest.mark.parametrize(
    ("key", "value", "hint"),
    [
        ("timezone", "Europe/Viena", "did you mean 'Europe/Vienna'?"),
        ("temp_unit", "celsius", "did you mean 'C'?"),
        ("temp_unit", "K", "known here: C, F"),
        ("mass_unit", "grams", "did you mean 'g'?"),
        ("clock", 13, "known here: 24, 12"),
        ("language", "deutsch", "did you mean 'de'?"),
        ("language", "", "known here: en, de"),
    ],
)
def test_a_slip_is_answered_with_the_nearest_or_with_all_there_are(key, value, hint):
    _, (fault,) = reader_from({key: value})
    assert fault.startswith(f"{key} = {value!r} ")
    assert fault.endswith(hint)
