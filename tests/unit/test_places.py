"""Places have names that can stand in a topic, and settings say which node stands where."""

from pathlib import Path

import pytest

from monitor.config import effective_settings, load_config
from monitor.errors import ConfigError
from monitor.places import Place, place_of, place_within

NODE = "urn:dev:mac:020000fffe5e0001"


def settings(folder: Path, text: str) -> Path:
    (folder / "config.toml").write_text(text)
    return folder


@pytest.mark.parametrize("text", ["home", "home/cabinet-2", "home/cabinet-2/shelf-3", "home/2/3/tub-1"])
def test_a_place_is_read_as_it_is_written(text: str) -> None:
    assert str(place_of(text)) == text


@pytest.mark.parametrize("text", ["", "/cabinet", "home//shelf", "home/cabinet/", "a/b/c/d/e"])
def test_a_name_with_a_part_missing_or_too_many_is_no_place(text: str) -> None:
    with pytest.raises(ConfigError, match="write site/cabinet/shelf/vessel"):
        place_of(text)


@pytest.mark.parametrize("name", ["Home", "a b", "-a", "a+", "a#", "ä", "a" * 33, "a\n"])
def test_a_name_that_a_topic_or_a_file_could_not_bear_is_refused(name: str) -> None:
    with pytest.raises(ConfigError, match="small letters, digits and hyphens"):
        Place(name)
    with pytest.raises(ConfigError, match="cabinet"):
        Place("home", name)


def test_a_shelf_without_its_cabinet_is_no_place() -> None:
    with pytest.raises(ConfigError, match="cabinet ''"):
        Place("home", shelf="shelf-3")


def test_a_cabinet_holds_its_shelves_and_no_cabinet_that_only_begins_alike() -> None:
    cabinet = place_within("home", "cabinet-2")
    assert cabinet.holds(place_within("home", "cabinet-2/shelf-3"))
    assert cabinet.holds(cabinet)
    assert not cabinet.holds(place_within("home", "cabinet-21"))
    assert not place_within("home", "cabinet-2/shelf-3").holds(cabinet)


def test_without_settings_the_site_is_home_and_nothing_stands_anywhere(tmp_path: Path) -> None:
    config = load_config(tmp_path, {})
    assert (config.site, config.places) == ("home", {})


def test_settings_say_the_site_and_where_a_node_stands(tmp_path: Path) -> None:
    text = f'site = "high-street"\n[places]\n"{NODE}" = "cabinet-2/shelf-3"\n'
    config = load_config(settings(tmp_path, text), {})
    assert config.site == "high-street"
    assert config.places == {NODE: Place("high-street", "cabinet-2", "shelf-3")}
    shown = effective_settings(config)
    assert "site = high-street" in shown
    assert f"places.{NODE} = cabinet-2/shelf-3" in shown


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('site = "High Street"', "site = 'High Street': small letters"),
        ("site = 3", "site = 3: small letters"),
        ('serves = "station"', "serves must be a list of sites"),
        ('serves = ["Station 3"]', "serves must be a list of sites"),
        ('site = "station"\nserves = ["station"]', "is this site itself"),
        ('places = "here"', "places must be a table"),
        ('[places]\n"node-1" = "cabinet-2"', "'node-1' is no node's name"),
        (f'[places]\n"{NODE}" = 2', "must be a text in quotes"),
        (f'[places]\n"{NODE}" = "a/b/c/d"', "write site/cabinet/shelf/vessel"),
        (f'[places]\n"{NODE}" = " "', "write cabinet/shelf/vessel"),
    ],
)
def test_a_fault_of_the_settings_says_where_and_what_would_be_right(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(ConfigError, match=r"config\.toml: ") as caught:
        load_config(settings(tmp_path, text), {})
    assert told in str(caught.value)
