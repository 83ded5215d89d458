"""What stands on the page of someone who may not look (yet), and the way out for one who may."""

from pathlib import Path

import streamlit as st

from dashboard import door, page, reading
from monitor.errors import ConfigError
from monitor.settings.access import Login

NOT_LISTED = "Your address {email} is on no list of bakers and viewers."
NOT_VERIFIED = "Your address {email} is not verified by the one who lets you log in."


def is_open(folder: Path) -> bool:
    """True when the person at this session may look; otherwise what to do stands on the page."""
    if door.role(folder) is not None:
        return True
    manner = reading.manner(folder)
    try:
        access, _ = door.settings(str(folder))
    except ConfigError as error:
        told = manner.say("The settings cannot be read, so nobody is let in.")
        st.html(page.heading(manner.say("Closed"), told))
        st.html(page.note(manner.told(error)))
        return False
    if access.login is Login.NONE:
        why = manner.say("A proxy has let you in, but the settings in {folder} name none.", folder=folder)
        st.html(page.heading(manner.say("Closed"), why))
    elif access.login is Login.PROXY and (known := door.name(folder)):
        why = manner.say("You are logged in as {name}, who is on no list of bakers and viewers.", name=known)
        st.html(page.heading(manner.say("Closed"), why))
    elif access.login is Login.PROXY:
        address = access.address or manner.say("the address of the proxy")
        st.html(page.heading(manner.say("Closed"), manner.say("Open {address} and log in there.", address=address)))
    elif st.user.get("is_logged_in"):
        is_known = st.user.get("email_verified") is True
        why = manner.say(NOT_LISTED if is_known else NOT_VERIFIED, email=st.user.get("email"))
        st.html(page.heading(manner.say("Closed"), why))
        st.button(manner.say("Log out"), on_click=st.logout)
    else:
        st.html(page.heading(manner.say("Proofing monitor"), manner.say("Log in to look at the doughs.")))
        st.button(manner.say("Log in"), type="primary", on_click=st.login)
    return False


def put_leave(folder: Path) -> None:
    """A way out for someone who has logged in here, and none where nobody has to."""
    try:
        access, _ = door.settings(str(folder))
    except ConfigError:
        return
    if access.login is Login.OIDC and st.user.get("is_logged_in"):
        st.button(reading.manner(folder).say("Log out"), key="log-out", on_click=st.logout)
