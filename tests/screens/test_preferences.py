"""A reader's own choice of language, units and dial: kept in the address, so that a reload does not lose it."""

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from dashboard.access import preferences
from monitor.settings.data_dir import CONFIG_NAME


def _screen() -> None:
    import os
    from datetime import UTC, datetime
    from pathlib import Path

    import streamlit as st

    from dashboard.access import preferences
    from monitor.wording.phrases import temp_text
    from monitor.wording.times import clock_text

    folder = Path(os.environ["PROOFING_DATA_DIR"])
    told = preferences.reader(folder)  # before the choice is drawn, as every screen asks
    at = clock_text(datetime(2026, 3, 2, 14, 30, tzinfo=UTC), told)
    st.text(f"{told.language.code} {temp_text(25.0, told)} {told.mass_unit} {at}")
    preferences.show_choice(folder)


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / CONFIG_NAME).write_text('timezone = "UTC"\nmass_unit = "oz"\n')
    monkeypatch.setenv("PROOFING_DATA_DIR", str(tmp_path))
    preferences.settings.clear()
    return tmp_path


def opened(**address: str) -> AppTest:
    """A new session at an address, as a reload makes one."""
    app = AppTest.from_function(_screen, default_timeout=30)
    for name, said in address.items():
        app.query_params[name] = said
    app.run()
    assert not app.exception, app.exception
    return app


def address(app: AppTest) -> dict[str, str]:
    return {name: said[0] if isinstance(said, list) else said for name, said in app.query_params.items()}


def test_a_choice_goes_into_the_address_and_a_new_session_there_has_it_at_once() -> None:
    app = opened(batch="4")
    assert address(app) == {"batch": "4"}
    app.radio(key="read-language").set_value("de").run()
    app.radio(key="read-temp").set_value("F").run()
    app.radio(key="read-clock").set_value("12").run()
    kept = address(app)
    assert kept == {"batch": "4", "language": "de", "temp": "F", "clock": "12"}
    again = opened(**kept)
    assert again.text[0].value.startswith("de 77,0 °F")
    assert again.text[0].value.endswith("oz 2:30\u00a0PM")
    assert again.radio(key="read-clock").value == "12"
    assert address(again) == kept


def test_what_is_as_in_the_settings_leaves_the_address() -> None:
    app = opened(mass="g")
    assert address(app) == {"mass": "g"}
    app.radio(key="read-mass").set_value("oz").run()
    assert address(app) == {}


def test_the_session_keeps_the_choice_when_a_link_clears_the_address() -> None:
    app = opened(language="de")
    del app.query_params["language"]
    app.query_params["batch"] = "4"
    app.run()
    assert app.text[0].value.startswith("de ")
    assert address(app) == {"batch": "4", "language": "de"}


def test_an_address_that_says_what_nobody_knows_says_nothing() -> None:
    app = opened(language="../../etc", temp="K", clock="<b>")
    assert app.text[0].value.startswith("en 25.0 °C")
    assert address(app) == {}
