"""Who may do what on the screens: the roles, by the name or e-mail address someone has logged in with."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any
from urllib.parse import urlsplit

USER_HEADER = "X-Monitor-User"
"""Header in which the proxy says who has logged in."""
SECRET_HEADER = "X-Monitor-Proxy"
"""Header in which the proxy shows that it is the one that was set up: anyone on this machine could send the other."""
KEYS = ("login", "bakers", "viewers", "address")


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
class Access:
    """Who may look at the screens and who may write.

    Attributes
    ----------
    bakers, viewers
        Names at the proxy or e-mail addresses, in small letters.
    address
        What browsers open, such as ``https://bakery.lan:8443``; empty for this machine alone.
    """

    login: Login = Login.NONE
    bakers: frozenset[str] = frozenset()
    viewers: frozenset[str] = frozenset()
    address: str = ""

    def role_of(self, who: str | None) -> Role | None:
        """The role of someone who has logged in, or None for nobody's.

        >>> Access(Login.PROXY, bakers=frozenset({"anna"})).role_of("Anna")
        <Role.BAKER: 'baker'>
        >>> Access(Login.PROXY, bakers=frozenset({"anna"})).role_of(None) is None
        True
        """
        if self.login is Login.NONE:
            return Role.BAKER
        name = (who or "").strip().lower()
        if name in self.bakers:
            return Role.BAKER
        return Role.VIEWER if name in self.viewers else None


def access_from(table: object) -> tuple[Access, list[str]]:
    """The access of a settings file's table ``[dashboard]``, and what is wrong with it."""
    if not isinstance(table, Mapping):
        return Access(), ["dashboard must be a table: [dashboard] with login, bakers, viewers, address"]
    faults = [f"dashboard.{key} is not a setting; known here: {', '.join(KEYS)}" for key in table if key not in KEYS]
    login = table.get("login", Login.NONE.value)
    if login not in list(Login):
        faults.append(f"dashboard.login = {login!r} must be one of: {', '.join(Login)}")
        login = Login.NONE
    bakers, viewers = (_names(table, key, faults) for key in ("bakers", "viewers"))
    if login != Login.NONE and not bakers | viewers and not faults:
        faults.append("dashboard.bakers and dashboard.viewers name nobody, so nobody could look; name at least one")
    address = table.get("address", "")
    if address and not _is_https(address):
        faults.append(f"dashboard.address = {address!r} must look like 'https://bakery.lan:8443'")
        address = ""
    return Access(Login(login), bakers, viewers, str(address)), faults


def _names(table: Mapping[str, Any], key: str, faults: list[str]) -> frozenset[str]:
    value = table.get(key, [])
    if isinstance(value, list) and all(isinstance(item, str) and item.strip() for item in value):
        return frozenset(item.strip().lower() for item in value)
    faults.append(f'dashboard.{key} must be a list of names or e-mail addresses, such as {key} = ["..."]')
    return frozenset()


def _is_https(address: object) -> bool:
    if not isinstance(address, str):
        return False
    try:
        parts = urlsplit(address)
        return parts.scheme == "https" and bool(parts.hostname) and (parts.port or 1) > 0 and not parts.path
    except ValueError:
        return False
