"""Who may do what on the screens: the roles, by the name or e-mail address someone has logged in with.

.. code-block:: toml

    [dashboard]
    login = "proxy"
    bakers = ["anna"]                   # at every site
    viewers = ["owner"]

    [dashboard.sites.high-street]       # and at this one alone
    bakers = ["ben"]
    viewers = ["till"]
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from monitor.errors import ConfigError
from monitor.settings.data_dir import CONFIG_NAME, LOGIN_NAME, SECRETS_NAME, settings_folder
from monitor.settings.places import NAME, NAME_WORDS, USUAL_SITE, site_from
from monitor.settings.secrets import Secrets, read_secrets
from monitor.settings.toml_file import of_file, read_table, table_in, unknown_keys
from monitor.translatable import Translatable, joined

USER_HEADER = "X-Monitor-User"
"""Header in which the proxy says who has logged in."""
SECRET_HEADER = "X-Monitor-Proxy"
"""Header in which the proxy shows that it is the one that was set up: anyone on this machine could send the other."""
KEYS = ("login", "bakers", "viewers", "address", "sites")
SITE_KEYS = ("bakers", "viewers")


class Login(StrEnum):
    """How people log in to the screens."""

    NONE = "none"  # not at all: this machine alone, and whoever sits at it is a baker
    PROXY = "proxy"  # name and password at the proxy in front
    OIDC = "oidc"  # e-mail address, at a provider of OpenID Connect


class Role(StrEnum):
    """What someone may do."""

    VIEWER = "viewer"  # look
    BAKER = "baker"  # look, note, acknowledge, end


@dataclass(frozen=True, slots=True)
class Roles:
    """Who may write and who may only look: names at the proxy or e-mail addresses, in small letters."""

    bakers: frozenset[str] = frozenset()
    viewers: frozenset[str] = frozenset()

    def role_of(self, name: str) -> Role | None:
        """The role of a name in small letters, or None for nobody's."""
        if name in self.bakers:
            return Role.BAKER
        return Role.VIEWER if name in self.viewers else None


@dataclass(frozen=True, slots=True)
class Access:
    """Who may look at the screens and who may write.

    Attributes
    ----------
    bakers, viewers
        Names at the proxy or e-mail addresses, in small letters: at every site.
    address
        What browsers open, such as ``https://bakery.lan:8443``; empty for this machine alone.
    site
        The site whose screens these are; writes go there alone.
    at_sites
        Site -> who may do what there, besides.
    """

    login: Login = Login.NONE
    bakers: frozenset[str] = frozenset()
    viewers: frozenset[str] = frozenset()
    address: str = ""
    site: str = USUAL_SITE
    at_sites: Mapping[str, Roles] = field(default_factory=dict)

    @property
    def names(self) -> frozenset[str]:
        """Everybody who may do something somewhere."""
        return self.bakers.union(self.viewers, *(roles.bakers | roles.viewers for roles in self.at_sites.values()))

    def role_of(self, who: str | None, site: str | None = None) -> Role | None:
        """The role at a site (None: at the screens' own) of someone who has logged in, or None for nobody's.

        >>> Access(Login.PROXY, bakers=frozenset({"anna"})).role_of("Anna")
        <Role.BAKER: 'baker'>
        >>> Access(Login.PROXY, bakers=frozenset({"anna"})).role_of(None) is None
        True
        """
        if self.login is Login.NONE:
            return Role.BAKER
        name = (who or "").strip().lower()
        found = {Roles(self.bakers, self.viewers).role_of(name)}
        found.add(self.at_sites.get(self.site if site is None else site, Roles()).role_of(name))
        return next((role for role in (Role.BAKER, Role.VIEWER) if role in found), None)

    def may_enter(self, who: str | None) -> bool:
        """True when someone who has logged in may look at something, here or at another site."""
        return self.login is Login.NONE or (who or "").strip().lower() in self.names


def load_access(data_dir: Path) -> tuple[Access, str | None]:
    """Who may look and write, and the proxy's secret, whatever else the settings say.

    Without a settings file nobody has to log in, so it is made sure that there should be none: a folder that is not
    there was mistyped or is not mounted, and a log-in that was once set up has left a file of its own.

    Raises
    ------
    ConfigError
        When that cannot be known for sure.
    """
    home = settings_folder(data_dir)
    path = home / CONFIG_NAME
    if not home.is_dir():
        raise ConfigError(
            "{home}: there is no such folder; name the data directory with --data-dir or PROOFING_DATA_DIR. "
            "`proofing-monitor collect` makes a new one",
            home=home,
        )
    has_settings = path.exists() or path.is_symlink()  # one that leads nowhere cannot be read, which is a fault
    table = read_table(path) if has_settings else {}
    site, site_faults = site_from(table.get("site") if home == data_dir else data_dir.name)
    faults: list[str] = []
    access, access_faults = access_from(table_in(table, "dashboard", faults) or {}, site)
    faults = of_file(path, faults + site_faults + access_faults)
    beside = home / SECRETS_NAME
    secrets = Secrets()
    if access.login is Login.PROXY or not has_settings:
        secrets, secret_faults = read_secrets(beside if beside.exists() else None, {})
        faults += secret_faults
    if access.login is Login.PROXY and secrets.proxy_secret is None:
        faults.append(
            Translatable("{beside}: holds no proxy_secret; run `proofing-monitor proxy configure`", beside=beside)
        )
    if not has_settings and (secrets.proxy_secret is not None or (home / LOGIN_NAME).exists()):
        faults.append(
            Translatable(
                "{path}: is not there, though a log-in was set up here; put it back, or write it anew", path=path
            )
        )
    if faults:
        raise ConfigError(joined(faults, "\n"))
    return access, secrets.proxy_secret


def access_from(table: Mapping[str, Any], site: str = USUAL_SITE) -> tuple[Access, list[str]]:
    """The access of a settings file's table ``[dashboard]`` at a site, and what is wrong with it."""
    faults = unknown_keys(table, KEYS, "dashboard.")
    login = table.get("login", Login.NONE.value)
    if login not in list(Login):
        faults.append(
            Translatable("dashboard.login = {login!r} must be one of: {known}", login=login, known=", ".join(Login))
        )
        login = Login.NONE
    here = _roles(table, "dashboard", faults)
    at_sites = _at_sites(table.get("sites", {}), faults)
    address = table.get("address", "")
    if address and not _is_https(address):
        faults.append(
            Translatable("dashboard.address = {address!r} must look like 'https://bakery.lan:8443'", address=address)
        )
        address = ""
    access = Access(Login(login), here.bakers, here.viewers, str(address), site, at_sites)
    if access.login is not Login.NONE and not access.names and not faults:
        faults.append(
            Translatable("dashboard.bakers and dashboard.viewers name nobody, so nobody could look; name at least one")
        )
    return access, faults


def _roles(table: Mapping[str, Any], where: str, faults: list[str]) -> Roles:
    return Roles(_names(table, where, "bakers", faults), _names(table, where, "viewers", faults))


def _at_sites(tables: object, faults: list[str]) -> dict[str, Roles]:
    if not isinstance(tables, Mapping) or not all(isinstance(table, Mapping) for table in tables.values()):
        faults.append(Translatable("dashboard.sites must be tables: [dashboard.sites.SITE] with bakers and viewers"))
        return {}
    found = {}
    for site, table in tables.items():
        where = f"dashboard.sites.{site}"
        if not NAME.fullmatch(site):
            faults.append(Translatable("{where} is no site's name: {name_words}", where=where, name_words=NAME_WORDS))
        faults += unknown_keys(table, SITE_KEYS, f"{where}.")
        found[site] = _roles(table, where, faults)
    return found


def _names(table: Mapping[str, Any], where: str, key: str, faults: list[str]) -> frozenset[str]:
    value = table.get(key, [])
    if isinstance(value, list) and all(isinstance(item, str) and item.strip() for item in value):
        return frozenset(item.strip().lower() for item in value)
    faults.append(
        Translatable(
            '{where}.{key} must be a list of names or e-mail addresses, such as {key} = ["..."]', where=where, key=key
        )
    )
    return frozenset()


def _is_https(address: object) -> bool:
    if not isinstance(address, str):
        return False
    try:
        parts = urlsplit(address)
        is_name = bool((parts.hostname or "").encode("idna"))
        return parts.scheme == "https" and is_name and (parts.port or 1) > 0 and not parts.path
    except ValueError:
        return False
