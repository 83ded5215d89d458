"""Signs of life for whoever watches the collector: the service manager, and somebody outside the house.

Both are fed from the working loop and stop when it does: a thread of their own that went on alone would say that all is
well while nothing works.
"""

import http.client
import logging
import os
import socket
import urllib.error
import urllib.request
from collections.abc import Collection, Mapping
from datetime import datetime
from email.message import Message
from typing import IO
from urllib.parse import urlsplit

from monitor.clock import Clock
from monitor.errors import ConfigError, NotifyError, StoreError
from monitor.health.counters import Pulse
from monitor.network import addresses_of
from monitor.notify import addresses
from monitor.worker import Worker

log = logging.getLogger(__name__)

SCHEMES = ("http", "https")
PING_EVERY_S = 60.0
PING_TIMEOUT_S = 10.0


class ServiceManager:
    """Speaks systemd's notification protocol (sd_notify(3)): one datagram of ``NAME=value`` lines to a socket.

    Does nothing when no manager asked to be told.
    """

    def __init__(self, environ: Mapping[str, str], clock: Clock) -> None:
        self._address = environ.get("NOTIFY_SOCKET", "")
        if self._address.startswith("@"):  # the abstract namespace of Linux
            self._address = "\0" + self._address[1:]
        self._clock = clock
        # sd_watchdog_enabled(3): notify at half the time that is given
        self._every_s = int(environ.get("WATCHDOG_USEC") or 0) / 2e6
        self._notified_s = float("-inf")
        self._status = ""

    def ready(self) -> None:
        """All is open; the loop begins."""
        self._send("READY=1\nSTATUS=at work")

    def stopping(self) -> None:
        """The loop is over."""
        self._send("STOPPING=1")

    def beat(self, store_error: StoreError | None, replica_late_since: datetime | None = None) -> None:
        """The loop has turned. A store that fails or is not shipped is a status: a restart would not mend it."""
        if store_error is not None:
            self._say(f"waiting for the store: {store_error}")
        elif replica_late_since is not None:
            self._say(f"at work; the replica is behind since {replica_late_since:%Y-%m-%d %H:%M} UTC")
        else:
            self._say("at work")

    def stand_by(self, machine: str) -> None:
        """All is well, and another machine's collector does the work."""
        self._say(f"standing by for the collector on {machine}")

    def _say(self, status: str) -> None:
        if status != self._status:
            self._status = status
            self._send("STATUS=" + status.replace("\n", " "))
        if self._every_s and self._clock.real_s() - self._notified_s >= self._every_s:
            self._notified_s = self._clock.real_s()
            self._send("WATCHDOG=1")

    def _send(self, text: str) -> None:
        if not self._address:
            return
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as out:
                out.sendto(text.encode(), self._address)
        except OSError as error:  # the manager will see that nothing comes
            log.warning("service manager not reached reason=%s", error)


def checked_host(url: str, may_reach: Collection[str]) -> str:
    """The host that is called, when it may be.

    Raises
    ------
    ConfigError
        When the address is no web address, or written so that it leads into this machine or where no message belongs.
    """
    try:
        parts = urlsplit(url)
        _ = parts.port  # looks at it, too
    except ValueError as error:
        raise ConfigError("heartbeat_url: is no web address ({why})", why=error) from error
    if parts.scheme not in SCHEMES or not parts.hostname:
        raise ConfigError("heartbeat_url: must begin with https:// or http://")
    addresses.check_written_host(parts.hostname, may_reach, "heartbeat_url")
    return parts.hostname


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    """Follows no answer that leads elsewhere: it must not lead to where the address itself may not."""

    def redirect_request(
        self, req: urllib.request.Request, fp: IO[bytes], code: int, msg: str, headers: Message, newurl: str
    ) -> None:
        return None


class DeadManSwitch(Worker):
    """Calls an address every minute for as long as the loop works; whoever is called says so when it stays quiet.

    Parameters
    ----------
    url
        ``https://`` or ``http://``; it holds a key, so it is never logged.
    may_reach
        Hosts inside this machine or network that may be called all the same.

    Raises
    ------
    ConfigError
        When it is none, or must not be called.
    """

    ends_within_s = PING_TIMEOUT_S + 1.0

    def __init__(
        self,
        url: str,
        pulse: Pulse,
        may_reach: Collection[str] = (),
        *,
        every_s: float = PING_EVERY_S,
        resolve: addresses.Resolve = addresses_of,
    ) -> None:
        super().__init__("dead man")
        self._host = checked_host(url, may_reach)
        self._may_reach = may_reach
        self._resolve = resolve
        self._opener = urllib.request.build_opener(_NoRedirect)
        self._url = url
        self._pulse = pulse
        self._every_s = every_s
        self._is_failing = False

    def _run(self) -> None:
        while not self._stopping.is_set():
            if self._pulse.is_well:
                self._ping()
            self._stopping.wait(self._every_s)

    def _ping(self) -> None:
        try:
            addresses.check_reachable(self._host, self._may_reach, "heartbeat_url", self._resolve)
            with self._opener.open(self._url, timeout=PING_TIMEOUT_S) as answer:
                answer.read(1)
        except NotifyError as error:
            self._failed(str(error))
        # URLError is an OSError; ValueError: an address of no known form, HTTPException: an answer of none
        except (OSError, ValueError, http.client.HTTPException) as error:
            self._failed(str(error.code) if isinstance(error, urllib.error.HTTPError) else type(error).__name__)
        else:
            if self._is_failing:
                log.info("dead man state=ok")
            self._is_failing = False

    def _failed(self, reason: str) -> None:
        if not self._is_failing:
            log.warning("dead man state=failing reason=%s", reason)
        self._is_failing = True


def service_manager(clock: Clock) -> ServiceManager:
    """The manager of this process, as its environment names it."""
    return ServiceManager(os.environ, clock)
