"""Who is looking, and what they may do: asked anew for each look into the store and before each write.

Without a log-in the screens are for this machine alone, and whoever sits at it is a baker. With one, settings that
cannot be read let nobody in: what they would have said cannot be guessed.
"""

import argparse
import hmac
import sys
from collections.abc import Sequence
from pathlib import Path

import streamlit as st

from monitor.errors import AccessError, ConfigError
from monitor.settings.access import SECRET_HEADER, USER_HEADER, Access, Login, Role, load_access

KEPT_S = 10  # judgement: so soon a change of the roles holds, and the file is read seldom enough


@st.cache_resource(max_entries=256, ttl=KEPT_S, show_spinner=False)
def settings(folder: str) -> tuple[Access, str | None]:
    """Who may do what, and the proxy's secret; a ConfigError when that cannot be known."""
    access, proxy_secret = load_access(Path(folder))
    if access.login is Login.NONE and _login_at_start() is not Login.NONE:
        raise ConfigError(
            "{folder}: the settings ask nobody to log in any more, but did when the dashboard was started; "
            "put them back, or start it again",
            folder=folder,
        )
    return access, proxy_secret


def _login_at_start() -> Login:
    """How people were to log in when the dashboard was started: ``--login`` among the arguments."""
    parser = argparse.ArgumentParser(add_help=False, allow_abbrev=False)
    parser.add_argument("--login", type=Login, default=Login.NONE)
    options, _ = parser.parse_known_args(sys.argv[1:])
    return Login(options.login)


def who(access: Access, proxy_secret: str | None) -> str | None:
    """The name or e-mail address someone has logged in with; None for nobody."""
    if access.login is Login.PROXY:
        shown = st.context.headers.get(SECRET_HEADER) or ""
        if not proxy_secret or not hmac.compare_digest(shown.encode(), proxy_secret.encode()):
            return None
        return st.context.headers.get(USER_HEADER)
    if access.login is Login.OIDC and st.user.get("is_logged_in") and st.user.get("email_verified") is True:
        return str(st.user.get("email") or "")
    return None


def name(folder: Path) -> str:
    """The name someone has logged in with; empty where nobody logs in."""
    return who(*settings(str(folder))) or ""


def role(folder: Path, site: str | None = None) -> Role | None:
    """What the person at this session may do at a site (None: the screens' own); None for nothing at all."""
    return next(iter(_roles(folder, [site])))


def visible(folder: Path, sites: Sequence[str]) -> list[str]:
    """Those of some sites that the person at this session may look at."""
    return [site for site, found in zip(sites, _roles(folder, sites), strict=True) if found is not None]


def _roles(folder: Path, sites: Sequence[str | None]) -> list[Role | None]:
    try:
        access, proxy_secret = settings(str(folder))
    except ConfigError:
        return [None] * len(sites)
    if access.login is Login.NONE and st.context.headers.get(SECRET_HEADER) is not None:
        return [None] * len(sites)  # set up behind a proxy for other settings, which would make a baker of everybody
    person = who(access, proxy_secret)
    return [access.role_of(person, site) for site in sites]


def require(wanted: Role, folder: Path) -> None:
    """Nothing when the person at this session has a role, or more.

    Raises
    ------
    AccessError
        When not.
    """
    found = role(folder)
    if found is None:
        raise AccessError("You are not logged in here as anybody who may look.")
    if wanted is Role.BAKER and found is not Role.BAKER:
        raise AccessError("You may look, but only a baker may note things.")
