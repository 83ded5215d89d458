"""What stands on the page of someone who may not look (yet), and the way out for one who may."""

from pathlib import Path

import streamlit as st

from dashboard.access import preferences, visitor
from dashboard.drawing import markup
from monitor.errors import ConfigError
from monitor.settings.access import Login
from monitor.translatable import N_

NOT_LISTED = N_("Your address {email} is on no list of bakers and viewers.")
NOT_VERIFIED = N_("Your address {email} is not verified by the one who lets you log in.")


def is_open(folder: Path) -> bool:
    """True when the person at this session may look; otherwise what to do stands on the page."""
    if visitor.role(folder) is not None:
        return True
    reader = preferences.reader(folder)
    try:
        access, _ = visitor.settings(str(folder))
    except ConfigError as error:
        why = reader.say("The settings cannot be read, so nobody is let in.")
        st.html(markup.heading(reader.say("Closed"), why))
        st.html(markup.note(reader.text(error)))
        return False
    if access.login is Login.NONE:
        why = reader.say("A proxy has let you in, but the settings in {folder} name none.", folder=folder)
        st.html(markup.heading(reader.say("Closed"), why))
    elif access.login is Login.PROXY and (known := visitor.name(folder)):
        why = reader.say("You are logged in as {name}, who is on no list of bakers and viewers.", name=known)
        st.html(markup.heading(reader.say("Closed"), why))
    elif access.login is Login.PROXY:
        address = access.address or reader.say("the address of the proxy")
        st.html(markup.heading(reader.say("Closed"), reader.say("Open {address} and log in there.", address=address)))
    elif st.user.get("is_logged_in"):
        is_known = st.user.get("email_verified") is True
        why = reader.say(NOT_LISTED if is_known else NOT_VERIFIED, email=st.user.get("email"))
        st.html(markup.heading(reader.say("Closed"), why))
        st.button(reader.say("Log out"), on_click=st.logout)
    else:
        st.html(markup.heading(reader.say("Proofing monitor"), reader.say("Log in to look at the doughs.")))
        st.button(reader.say("Log in"), type="primary", on_click=st.login)
    return False


def show_logout(folder: Path) -> None:
    """A way out for someone who has logged in here, and none where nobody has to."""
    try:
        access, _ = visitor.settings(str(folder))
    except ConfigError:
        return
    if access.login is Login.OIDC and st.user.get("is_logged_in"):
        st.button(preferences.reader(folder).say("Log out"), key="log-out", on_click=st.logout)
