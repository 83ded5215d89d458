"""Places have names that can stand in a topic, and settings say which node stands where."""

from dataclasses import replace
from pathlib import Path

import pytest
from harness import START
from sample_bakery import ROUND_TUB

from dashboard.access import preferences
from monitor.archive.export import batch_toml
from monitor.cli import main
from monitor.errors import ConfigError
from monitor.recipe.batch import Batch, BatchId, Stage
from monitor.settings.config import load_config
from monitor.settings.data_dir import DATABASE_NAME
from monitor.settings.effective import effective_settings
from monitor.settings.places import Place, nodes_at, place_of, place_within
from monitor.store.nodes import Arrivals, Heard
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId, Reading

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


# -- which nodes serve a place ----------------------------------------------------------------------------------------

AIR, SHELF_3, SHELF_4 = (NodeId(f"urn:dev:mac:020000fffe5e000{number}") for number in (1, 2, 3))
STANDS = {
    AIR: place_within("home", "cabinet-2"),
    SHELF_3: place_within("home", "cabinet-2/shelf-3"),
    SHELF_4: place_within("home", "cabinet-2/shelf-4"),
}
MEASURES = {
    AIR: {Channel.AIR_TEMP, Channel.HUMIDITY},
    SHELF_3: {Channel.DISTANCE, Channel.DOUGH_TEMP},
    SHELF_4: {Channel.DISTANCE, Channel.AIR_TEMP},
}


def at(text: str) -> dict[Channel, NodeId]:
    return nodes_at(place_within("home", text), STANDS, MEASURES)


def test_a_shelf_is_read_from_its_own_height_node_and_the_air_of_its_cabinet() -> None:
    assert at("cabinet-2/shelf-3") == {
        Channel.AIR_TEMP: AIR,
        Channel.HUMIDITY: AIR,
        Channel.DOUGH_TEMP: SHELF_3,
        Channel.DISTANCE: SHELF_3,
    }


def test_air_that_is_measured_nearer_goes_before_that_of_the_cabinet() -> None:
    assert at("cabinet-2/shelf-4")[Channel.AIR_TEMP] == SHELF_4


def test_no_tub_is_read_from_the_height_of_another_shelf_or_of_what_is_wider() -> None:
    assert at("cabinet-2/shelf-5") == {Channel.AIR_TEMP: AIR, Channel.HUMIDITY: AIR}
    assert at("cabinet-3") == {}


def test_two_that_could_tell_the_same_are_asked_about() -> None:
    with pytest.raises(ConfigError, match=f"{SHELF_3} and {SHELF_4} both measure distance_mm there"):
        at("cabinet-2")


def test_a_batch_is_started_at_a_place(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = "".join(f'"{node}" = "{place.within_site}"\n' for node, place in STANDS.items())
    settings(tmp_path, f"[places]\n{lines}")
    arrived = Arrivals()
    for node, channels in MEASURES.items():
        arrived.readings += [Reading(node, "0a", 1, channel, 25.0, START, START) for channel in sorted(channels)]
        arrived.heard.append(Heard(node, "mqtt", START))
    with Store(tmp_path / DATABASE_NAME) as store:
        store.keep(arrived, START)
    dough = tmp_path / "dough.toml"
    dough.write_text(batch_toml(Batch(BatchId(1), "Hazel loaf", Stage.FIRST_RISE, START, ROUND_TUB)))
    where = ["--now", "--data-dir", str(tmp_path)]
    assert main(["batch", "start", str(dough), "--at", "cabinet-2/shelf-3", *where]) == 0
    assert f"height from {SHELF_3}" in capsys.readouterr().out
    assert main(["batch", "start", str(dough), "--at", "cabinet-9", *where]) == 2
    assert "no node that was heard stands there; places in [places] of config.toml: cabinet-2, cabinet-2/shelf-3" in (
        capsys.readouterr().err
    )


def test_the_screens_say_where_a_node_and_a_dough_stand(tmp_path: Path) -> None:
    settings(tmp_path, f'[places]\n"{AIR}" = "cabinet-2"\n"{SHELF_3}" = "cabinet-2/shelf-3"\n')
    dough = Batch(BatchId(1), "Hazel loaf", Stage.FIRST_RISE, START, ROUND_TUB)
    read = replace(dough, nodes=((Channel.AIR_TEMP, AIR), (Channel.DISTANCE, SHELF_3)))
    assert preferences.place_of(tmp_path, AIR) == "cabinet-2"
    assert preferences.place_of(tmp_path, SHELF_4) == ""
    assert preferences.place_of(tmp_path, *(node for _, node in read.nodes)) == "cabinet-2/shelf-3"
    assert preferences.place_of(tmp_path) == ""
