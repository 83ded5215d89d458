"""The files of a bridge: who gets which, what they refuse, and what nobody else may read."""

import stat
from pathlib import Path

import pytest

from monitor.errors import ConfigError
from monitor.remote_access import broker
from monitor.remote_access.bridge import Link, join, read_link, settings_lines, site_file, write_link
from monitor.remote_access.certificates import kept_pair

LINK = Link("high-street", "central.lan", 8883, "drawn", "-----BEGIN CERTIFICATE-----\nAA\n-----END CERTIFICATE-----\n")


@pytest.fixture
def handed_over(tmp_path: Path) -> Path:
    write_link(tmp_path / "high-street.toml", LINK)
    return tmp_path / "high-street.toml"


def test_the_file_for_a_shop_is_read_as_it_was_written_and_is_for_its_owner_alone(handed_over: Path) -> None:
    assert read_link(handed_over) == LINK
    assert stat.S_IMODE(handed_over.stat().st_mode) == 0o600
    assert "drawn" not in repr(read_link(handed_over))


def test_a_file_for_another_site_is_refused(tmp_path: Path, handed_over: Path) -> None:
    with pytest.raises(ConfigError, match="is for the site 'high-street', and this one is 'home'"):
        join(tmp_path / "broker", handed_over, "home", is_served_there=False)
    assert not (tmp_path / "broker").exists()


def test_a_file_that_others_can_read_is_refused(tmp_path: Path, handed_over: Path) -> None:
    handed_over.chmod(0o644)
    with pytest.raises(ConfigError, match="chmod 600"):
        join(tmp_path / "broker", handed_over, "high-street", is_served_there=False)


@pytest.mark.parametrize(
    "text", ["", "site = 3", 'site = "a/b"\nhost = "x"\nport = 1\npassword = "y"', "\x00", "colour = 'red'"]
)
def test_a_file_that_is_none_says_so(handed_over: Path, text: str) -> None:
    handed_over.write_text(text)
    with pytest.raises(ConfigError):
        read_link(handed_over)


@pytest.mark.parametrize("site", ["../secrets", "a/b", "", "High Street"])
def test_no_file_is_made_for_what_is_no_sites_name(tmp_path: Path, site: str) -> None:
    with pytest.raises(ConfigError):
        site_file(tmp_path, site)


def test_a_host_cannot_bring_settings_of_its_own(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="no name or address"):
        Link("high-street", "central.lan\nallow_anonymous true", 8883, "drawn")


def test_only_a_shop_without_a_collector_lets_acknowledgements_in(tmp_path: Path) -> None:
    served = Link("high-street", "central.lan", 8883, "drawn", is_served_there=True)
    ins = [[line for line in settings_lines(tmp_path, link) if " in " in line] for link in (LINK, served)]
    assert ins == [[], ["topic +/ack in 1 proofing/ sites/high-street/proofing/"]]


def test_a_broker_keeps_nothing_for_a_collector_that_dates_it_by_its_arrival(tmp_path: Path) -> None:
    served = Link("high-street", "central.lan", 8883, "drawn", is_served_there=True)
    kept = [[line for line in settings_lines(tmp_path, link) if "cleansession" in line] for link in (LINK, served)]
    assert kept == [["cleansession false"], ["cleansession true"]]


def test_a_bridge_without_tls_is_found(tmp_path: Path) -> None:
    text = broker.settings_text(tmp_path, broker.BrokerOptions(), kept_pair(tmp_path, tmp_path), LINK)
    assert broker.settings_faults(text) == []
    without = "\n".join(line for line in text.splitlines() if not line.startswith("bridge_cafile"))
    assert any("bridge speaks without TLS" in fault for fault in broker.settings_faults(without))
