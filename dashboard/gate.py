"""What stands on the page of someone who may not look (yet), and the way out for one who may."""

from pathlib import Path

import streamlit as st

from dashboard import door, page
from monitor.access import Login
from monitor.errors import ConfigError


def is_open(folder: Path) -> bool:
    """True when the person at this session may look; otherwise what to do stands on the page."""
    if door.role(folder) is not None:
        return True
    try:
        access, _ = door.settings(str(folder))
    except ConfigError as error:
        st.html(page.heading("Closed", "The settings cannot be read, so nobody is let in."))
        st.code(str(error), language=None)
        return False
    if access.login is Login.PROXY:
        st.html(page.heading("Closed", f"Open {access.address or 'the address of the proxy'} and log in there."))
    elif st.user.get("is_logged_in"):
        is_known = st.user.get("email_verified") is True
        why = "is on no list of bakers and viewers" if is_known else "is not verified by the one who lets you log in"
        st.html(page.heading("Closed", f"Your address {st.user.get('email')} {why}."))
        st.button("Log out", on_click=st.logout)
    else:
        st.html(page.heading("Proofing monitor", "Log in to look at the doughs."))
        st.button("Log in", type="primary", on_click=st.login)
    return False


def put_leave(folder: Path) -> None:
    """A way out for someone who has logged in here, and none where nobody has to."""
    try:
        access, _ = door.settings(str(folder))
    except ConfigError:
        return
    if access.login is Login.OIDC and st.user.get("is_logged_in"):
        st.button("Log out", key="log-out", on_click=st.logout)
