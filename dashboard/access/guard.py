"""Which pages the screens answer: their own alone, and in nobody's frame.

The loopback keeps other machines out, but not the pages that a browser on this one has open. A stranger's page reaches
it by a name of its own that was made to lead here (DNS rebinding), or straight from another address. The browser says
both, in the headers Host and Origin, which no page can set (Fetch standard, "forbidden request-header").
"""

import re
from collections.abc import Callable, Iterable
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from monitor.network import is_loopback
from monitor.translatable import Translatable
from monitor.wording.reader import Reader

HEADERS = {
    "Content-Security-Policy": "frame-ancestors 'none'",
    "X-Frame-Options": "DENY",  # for browsers that do not know the first
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
"""What every answer says to the browser: it is for pages of this address alone, and no page may frame it."""
PORTS = {"http": 80, "https": 443}
_HOST = re.compile(r"(\[[0-9a-f:.]+\]|[a-z0-9._-]+)(?::[0-9]{1,5})?")


def origin_of(address: str) -> str:
    """How a browser names an address that people open: small letters, no usual port, a name of ASCII letters.

    >>> origin_of("https://Bäckerei.example:443"), origin_of("https://[FD00::1]:8443")
    ('https://xn--bckerei-5wa.example', 'https://[fd00::1]:8443')
    """
    parts = urlsplit(address)
    name = (parts.hostname or "").encode("idna").decode()
    host = f"[{name}]" if ":" in name else name
    return f"{parts.scheme}://{host}" + (f":{parts.port}" if parts.port not in (None, PORTS[parts.scheme]) else "")


def refusal(host: str | None, origin: str | None, opened: Iterable[str]) -> Translatable | None:
    """Why a request is not answered, and what to do; None when it is.

    Parameters
    ----------
    host, origin
        The request's headers. Only programs that are no browsers, and requests that cannot change or read anything,
        come without an origin.
    opened
        What people open besides the loopback, each as :func:`origin_of` has it.

    >>> refusal("localhost:8501", "http://localhost:8501", ()) is None
    True
    >>> print(refusal("oven.example:8501", None, ()))  # doctest: +ELLIPSIS
    These screens do not answer to oven.example:8501. ...
    """
    host, opened = (host or "").lower(), tuple(opened)
    found = _HOST.fullmatch(host)
    name = found[1].strip("[]").rstrip(".") if found else ""
    is_here = is_loopback(name)
    if not is_here and name not in {urlsplit(each).hostname for each in opened}:
        return Translatable(
            "These screens do not answer to {host}. Open them as localhost on their own machine, or by the address "
            'that was set up. If {host} is yours, write address = "https://{host}" under [dashboard] in config.toml, '
            "and start the dashboard again.",
            host=host or "-",
        )
    if origin is None or origin.lower() in opened:
        return None
    scheme, _, there = origin.lower().partition("://")
    if there == host and (scheme == "https" or (scheme == "http" and is_here)):
        return None
    return Translatable(
        "A page of {origin} asked for these screens, which answer to their own pages alone. Open them as localhost on "
        "their own machine, or by the address that was set up. If that page is yours, write its https address under "
        '[dashboard] in config.toml, as in address = "https://bakery.lan:8443", and start the dashboard again.',
        origin=origin,
    )


class Guard:
    """ASGI middleware that refuses what :func:`refusal` says, pages and sockets alike, and keeps the rest unframed."""

    def __init__(self, app: ASGIApp, addresses: Iterable[str], reader: Callable[[], Reader]) -> None:
        self._app = app
        self._opened = tuple(map(origin_of, addresses))
        self._reader = reader

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request, or hand it on."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return

        async def send_unframed(message: Message) -> None:
            if message["type"].endswith("http.response.start"):
                MutableHeaders(scope=message).update(HEADERS)
            await send(message)

        headers = Headers(scope=scope)
        why = refusal(headers.get("host"), headers.get("origin"), self._opened)
        answer = self._app if why is None else PlainTextResponse(self._reader().text(why), 403)
        await answer(scope, receive, send_unframed)
