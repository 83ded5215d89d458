"""A widget and the address follow each other, also when touches come quicker than the browser takes on an address."""

import pytest
from streamlit.testing.v1 import AppTest

from dashboard.access import address


def _screen() -> None:
    import streamlit as st

    from dashboard.access import address

    asked = [name for name in st.query_params.get("flours", "rye,spelt,wheat").split(",") if name]
    key = address.synced_key("flours", asked)
    picked = st.pills("Flours", ["rye", "spelt", "wheat"], selection_mode="multi", key=key)
    address.remember(key, picked)
    address.write({"flours": ",".join(picked)}, ["flours"])


@pytest.fixture
def app() -> AppTest:
    app = AppTest.from_function(_screen, default_timeout=30)
    app.query_params["language"] = "de"
    return app.run()


def picked(app: AppTest) -> list[str]:
    assert not app.exception
    return list(app.button_group[0].value)


def test_the_address_says_what_was_touched_and_keeps_what_others_say(app: AppTest) -> None:
    app.button_group[0].set_value(["rye"]).run()
    assert picked(app) == ["rye"]
    assert app.query_params["flours"] == "rye"
    assert app.query_params["language"] == "de"


def test_a_touch_counts_that_comes_before_the_browser_has_the_address_of_the_one_before(app: AppTest) -> None:
    app.button_group[0].set_value(["rye", "spelt"]).run()
    app.query_params["flours"] = "rye,spelt,wheat"
    app.button_group[0].set_value(["rye"]).run()
    assert picked(app) == ["rye"]
    assert app.query_params["flours"] == "rye"


def test_a_widget_goes_back_with_the_address(app: AppTest) -> None:
    app.button_group[0].set_value(["rye"]).run()
    app.query_params["flours"] = "rye,spelt,wheat"
    app.run()
    assert picked(app) == ["rye", "spelt", "wheat"]


def test_a_touch_counts_that_cuts_short_the_way_back(monkeypatch: pytest.MonkeyPatch) -> None:
    state: dict[str, object] = {}
    monkeypatch.setattr(address.st, "session_state", state)
    for asked in ("rye", "wheat"):
        address.synced_key("flour", asked)
        address.remember("flour", state["flour"])
    address.synced_key("flour", "rye")  # gone back; a touch ends this run before it has drawn the widget
    state["flour"] = "wheat"
    address.synced_key("flour", "rye")
    assert state["flour"] == "wheat"


def test_the_first_look_is_the_addresss(app: AppTest) -> None:
    other = AppTest.from_function(_screen, default_timeout=30)
    other.query_params["flours"] = "wheat"
    assert picked(other.run()) == ["wheat"]
