"""The screens as a web application: the script that draws them, what stands before it, and what is asked beside it."""

import asyncio
import signal
from collections.abc import AsyncIterator, Iterable
from contextlib import asynccontextmanager
from pathlib import Path
from types import FrameType

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
STOPS_WITHIN_S = 3.0  # judgement: an answer on its way takes less; whoever stops the screens should not wait
ICONS = ("/favicon.png", "/apple-touch-icon.png")
"""What the framework's page names for a tab, and what a phone asks for that puts these screens on its home screen."""


def application(addresses: Iterable[str]) -> App:
    """The screens, for whoever opens them on this machine or by one of some addresses."""
    guard = Middleware(Guard, addresses=tuple(addresses), reader=lambda: preferences.usual_reader(queries.data_dir()))
    icons = [Route(path, _icon) for path in ICONS]
    routes = [*api.routes(), *icons, Route(PROBES, _elsewhere)]
    return App(SCRIPT, lifespan=_stopping_in_time, routes=routes, middleware=[guard])


@asynccontextmanager
async def _stopping_in_time(_application: App) -> AsyncIterator[None]:
    """Let nobody hold up the end: uvicorn waits for ever for whoever does not read, or has connected and asks nothing.

    A second interrupt ends its waiting. Here, where it serves already, its handlers of signals can be followed up.
    """
    loop = asyncio.get_running_loop()

    def follow_up(each: signal.Signals) -> None:
        stop = signal.getsignal(each)
        assert callable(stop)

        def stop_in_time(number: int, frame: FrameType | None) -> None:
            stop(number, frame)
            loop.call_soon_threadsafe(loop.call_later, STOPS_WITHIN_S, signal.raise_signal, signal.SIGINT)

        signal.signal(each, stop_in_time)

    for each in (signal.SIGINT, signal.SIGTERM):
        follow_up(each)
    yield


async def _icon(_request: Request) -> Response:
    return Response(icon_png(), media_type="image/png", headers={"Cache-Control": "max-age=86400"})


async def _elsewhere(request: Request) -> PlainTextResponse:
    """Where the framework is, when its part in the browser looks for it below a screen first.

    It looks on at the root after any answer but a good one. A missing page would be an error on the browser's console,
    and a redirect would be followed and taken for good.
    """
    return PlainTextResponse(f"/_stcore/{request.path_params['probe']}", 300, {"Cache-Control": "no-store"})
