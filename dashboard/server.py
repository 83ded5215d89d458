"""The screens as a web application: the script that draws them, what stands before it, and what is asked beside it."""

from collections.abc import Iterable
from pathlib import Path

from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.routing import Route
from streamlit.starlette import App

from dashboard import api, queries
from dashboard.access import preferences
from dashboard.access.guard import Guard

SCRIPT = Path(__file__).with_name("app.py")
PROBES = "/{screen}/_stcore/{probe:path}"


def application(addresses: Iterable[str]) -> App:
    """The screens, for whoever opens them on this machine or by one of some addresses."""
    guard = Middleware(Guard, addresses=tuple(addresses), reader=lambda: preferences.usual_reader(queries.data_dir()))
    return App(SCRIPT, routes=[*api.routes(), Route(PROBES, _elsewhere)], middleware=[guard])


async def _elsewhere(request: Request) -> PlainTextResponse:
    """Where the framework is, when its part in the browser looks for it below a screen first.

    It looks on at the root after any answer but a good one. A missing page would be an error on the browser's console,
    and a redirect would be followed and taken for good.
    """
    return PlainTextResponse(f"/_stcore/{request.path_params['probe']}", 300, {"Cache-Control": "no-store"})
