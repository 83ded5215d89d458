"""Carriers: how a message gets to somebody. The terminal, and whatever apprise knows: a phone push, mail, a chat."""

import logging
import re
from collections.abc import Collection, Iterable
from typing import TYPE_CHECKING, Protocol, TextIO
from urllib.parse import urlsplit

from monitor.alerts.dough import AlertKind, Message
from monitor.errors import ConfigError, NotifyError
from monitor.notify import addresses
from monitor.translatable import Translatable
from monitor.wording.alerts import clock_text, printable
from monitor.wording.reader import Reader

if TYPE_CHECKING:
    import apprise

log = logging.getLogger(__name__)
# What apprise logs holds addresses. It goes nowhere but into its own results, whose lines hold the answer's code.
_apprise_log = logging.getLogger("apprise")
_apprise_log.setLevel(logging.WARNING)
_apprise_log.propagate = False
_apprise_log.addHandler(logging.NullHandler())

RETRY_CODES = (408, 425, 429)  # of the 4xx, those that say "later" (RFC 9110 15.5.9, RFC 8470, RFC 6585)
_TROUBLE = (
    AlertKind.OVER_BAND,
    AlertKind.PAST_PEAK,
    AlertKind.NOT_RISING,
    AlertKind.VIEW_BLOCKED,
    AlertKind.LEVEL_JUMPED,
    AlertKind.AIR_TOO_WARM,
    AlertKind.AIR_TOO_COLD,
    AlertKind.AIR_TOO_DRY,
    AlertKind.SENSOR_SILENT,
    AlertKind.NODE_SILENT,
    AlertKind.LINE_SILENT,
    AlertKind.TROUBLE,
)


class Carrier(Protocol):
    """A way to reach someone."""

    @property
    def name(self) -> str:
        """What the log and the store call it; holds no address and no secret."""

    def send(self, message: Message) -> None:
        """Hand one message over.

        Raises
        ------
        NotifyError
            When it could not be; ``retry`` says whether later can be better.
        """


class TerminalCarrier:
    """Prints each message as one line."""

    name = "terminal"

    def __init__(self, stream: TextIO, reader: Reader) -> None:
        self._stream = stream
        self._reader = reader

    def send(self, message: Message) -> None:
        line = printable(f"{clock_text(message.created_at, self._reader)}  {message.title}. {message.text}")
        try:
            print(line, file=self._stream, flush=True)
        except (OSError, ValueError) as error:  # a closed pipe or a closed stream
            raise NotifyError("the terminal is gone", retry=False) from error


class AppriseCarrier:
    """Sends to one address that apprise knows: a push service, mail, chat, a web hook.

    Parameters
    ----------
    url
        The address; it may hold a password, so it is neither logged nor kept readable.
    number
        Its place in the configuration, to name it by.
    may_reach
        Hosts inside this machine or network that messages may go to all the same.

    Raises
    ------
    ConfigError
        When apprise cannot make anything of it, or messages must not go there.
    """

    def __init__(self, url: str, number: int = 1, may_reach: Collection[str] = ()) -> None:
        what = Translatable(
            "notify_urls, entry {number} ({scheme})",
            number=number,
            scheme=urlsplit(url).scheme or Translatable("no scheme"),
        )
        scheme = addresses.check_scheme(url, what)
        self.name = f"{scheme}#{number}"
        self._may_reach = may_reach
        import apprise  # 6 MB, which a machine that calls nobody outside spares

        self._kinds = {True: apprise.NotifyType.WARNING, False: apprise.NotifyType.INFO}
        self._target = apprise.Apprise()
        if not self._target.add(url):
            raise ConfigError(
                "{what}: apprise does not know such an address; see the list of services in apprise's manual and check "
                "every part of it",
                what=what,
            )
        if len(self._target) != 1:
            raise ConfigError("{what}: holds several addresses; write each apart", what=what)
        service = self._target[0]
        service.redirects = False  # an answer must not lead to where the address itself may not
        self._host = _own_host(service) if addresses.has_own_host(scheme) else ""
        addresses.check_written_host(self._host, may_reach, what)

    def send(self, message: Message) -> None:
        if self._host:
            addresses.check_reachable(self._host, self._may_reach, self.name)
        kind = self._kinds[message.kind in _TROUBLE]
        try:
            result = self._target.notify(
                title=message.title, body=f"{message.text}\n[{message.id}]", notify_type=kind, body_format="text"
            )
        except (TypeError, ValueError, OSError) as error:
            raise NotifyError(
                "{name}: {detail} while sending", retry=True, name=self.name, detail=type(error).__name__
            ) from error
        if result:
            return
        codes = [
            int(found.group(1))
            for target in result.results
            for entry in target.logs()
            if (found := re.search(r"\berror=(\d{3})\b", entry.message))
        ]
        is_refused = any(400 <= code < 500 and code not in RETRY_CODES for code in codes)
        if not codes:
            raise NotifyError("{name}: no answer, or it refused", retry=True, name=self.name)
        raise NotifyError("{name}: it answered {detail}", retry=not is_refused, detail=str(codes[-1]), name=self.name)


def _own_host(service: "apprise.NotifyBase") -> str:
    """The machine that a service's address leads to; empty where apprise has a host of its own for it."""
    return str(getattr(service, "smtp_host", "") or service.host or "")


def apprise_carriers(urls: Iterable[str], may_reach: Collection[str] = (), first: int = 1) -> list[AppriseCarrier]:
    """One carrier for each address, numbered from ``first`` on as the configuration lists them."""
    return [AppriseCarrier(url, number, may_reach) for number, url in enumerate(urls, start=first)]
