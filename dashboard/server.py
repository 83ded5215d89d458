"""The screens as a web application: the script that draws them, what stands before it, and what is asked beside it."""

from collections.abc import Iterable
from pathlib import Path

from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route
from streamlit.starlette import App

from dashboard import api, queries
from dashboard.access import preferences
from dashboard.access.guard import Guard
from dashboard.drawing.icon import icon_png

SCRIPT = Path(__file__).with_name("app.py")
PROBES = "/{screen}/_stcore/{probe:path}"
ICONS = ("/favicon.png", "/apple-touch-icon.png")
"""What the framework's page names for a tab, and what a phone asks for that puts these screens on its home screen."""


def application(addresses: Iterable[str]) -> App:
    """The screens, for whoever opens them on this machine or by one of some addresses."""
    guard = Middleware(Guard, addresses=tuple(addresses), reader=lambda: preferences.usual_reader(queries.data_dir()))
    icons = [Route(path, _icon) for path in ICONS]
    return App(SCRIPT, routes=[*api.routes(), *icons, Route(PROBES, _elsewhere)], middleware=[guard])


async def _icon(_request: Request) -> Response:
    return Response(icon_png(), media_type="image/png", headers={"Cache-Control": "max-age=86400"})


async def _elsewhere(request: Request) -> PlainTextResponse:
    """Where the framework is, when its part in the browser looks for it below a screen first.

    It looks on at the root after any answer but a good one. A missing page would be an error on the browser's console,
    and a redirect would be followed and taken for good.
    """
    return PlainTextResponse(f"/_stcore/{request.path_params['probe']}", 300, {"Cache-Control": "no-store"})
