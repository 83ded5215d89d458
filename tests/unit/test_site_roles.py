"""Roles by site: who has one everywhere, who at one shop, and who sees what of the others."""

from pathlib import Path

import pytest

from monitor.errors import ConfigError
from monitor.settings.access import Access, Login, Role, Roles, access_from, load_access

TABLE = {
    "login": "proxy",
    "bakers": ["anna"],
    "viewers": ["owner", "ben"],
    "sites": {"high-street": {"bakers": ["Ben"], "viewers": ["till"]}, "station": {"viewers": ["till-2"]}},
}


@pytest.mark.parametrize(
    ("who", "here", "high_street", "station"),
    [
        ("anna", Role.BAKER, Role.BAKER, Role.BAKER),
        ("owner", Role.VIEWER, Role.VIEWER, Role.VIEWER),
        ("ben", Role.VIEWER, Role.BAKER, Role.VIEWER),
        ("TILL", None, Role.VIEWER, None),
        ("till-2", None, None, Role.VIEWER),
        ("eve", None, None, None),
        (None, None, None, None),
    ],
)
def test_a_role_holds_everywhere_or_at_its_site_and_the_larger_counts(
    who: str | None, here: Role | None, high_street: Role | None, station: Role | None
) -> None:
    access, faults = access_from(TABLE, "centre")
    assert faults == []
    assert [access.role_of(who, site) for site in (None, "high-street", "station")] == [here, high_street, station]


def test_at_a_shops_own_screens_its_own_roles_hold() -> None:
    access, _ = access_from(TABLE, "high-street")
    assert access.role_of("till") is Role.VIEWER
    assert access.role_of("till-2") is None


def test_whoever_has_a_role_somewhere_may_enter_where_several_sites_are_shown() -> None:
    access, _ = access_from(TABLE, "centre")
    assert [access.may_enter(who) for who in ("till-2", "anna", "eve", None)] == [True, True, False, False]


def test_without_a_login_everything_is_seen() -> None:
    access = Access(at_sites={"station": Roles()})
    assert access.role_of(None, "station") is Role.BAKER
    assert access.may_enter(None)


def test_nobody_at_all_is_a_fault_and_somebody_at_one_site_is_enough() -> None:
    _, faults = access_from({"login": "proxy", "sites": {"station": {}}})
    assert any("name nobody" in fault for fault in faults)
    access, faults = access_from({"login": "proxy", "sites": {"station": {"viewers": ["till"]}}})
    assert (access.login, faults) == (Login.PROXY, [])


@pytest.mark.parametrize(
    ("sites", "told"),
    [
        ("[dashboard]\nsites = 3", "must be tables"),
        ("[dashboard.sites.Station]\nbakers = []", "dashboard.sites.Station is no site's name"),
        ("[dashboard.sites.station]\nbaker = []", "dashboard.sites.station.baker is not a setting"),
        ('[dashboard.sites.station]\nbakers = "ben"', "dashboard.sites.station.bakers must be a list"),
        ('site = "No"\n[dashboard]\nlogin = "none"', "site = 'No'"),
    ],
)
def test_settings_of_which_a_part_is_not_understood_let_nobody_in(tmp_path: Path, sites: str, told: str) -> None:
    (tmp_path / "config.toml").write_text(sites)
    with pytest.raises(ConfigError) as caught:
        load_access(tmp_path)
    assert told in str(caught.value)
