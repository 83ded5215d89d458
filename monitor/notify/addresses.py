"""Where messages may go: services made for it, and never back into this machine or the inside of its network.

An address of a service holds a token where others have a host, so only the host of a service that people run
themselves is looked up: a token must not be asked of a name server.
"""

from collections.abc import Callable, Collection, Sequence
from urllib.parse import urlsplit

from monitor.errors import ConfigError, NotifyError
from monitor.network import Address, addresses_of, inside_reason, is_loopback, literal
from monitor.translatable import Translatable

# Services whose own host stands in apprise, so that the address cannot lead elsewhere (seen in apprise 2.3).
_HOSTED = frozenset(
    ("clicksend", "discord", "gchat", "pbul", "pover", "prowl", "slack", "tgram", "threema", "twilio", "wxteams")
)
# Services that people run themselves; their host stands in the address, or is found by apprise from it.
_SELF_HOSTED = frozenset(
    name
    for one in ("form", "gotify", "hassio", "json", "mailto", "mmost", "ncloud", "ntfy", "rocket", "signal", "xml")
    for name in (one, f"{one}s")
)
SCHEMES = _HOSTED | _SELF_HOSTED

Resolve = Callable[[str], Sequence[Address]]


def has_own_host(scheme: str) -> bool:
    """True for a service whose address says which machine to speak to."""
    return scheme in _SELF_HOSTED


def check_scheme(url: str, what: str) -> str:
    """The scheme of a message's address.

    Raises
    ------
    ConfigError
        When it is none that messages may go by; ``what`` names the entry, for the address may hold a password.
    """
    scheme = urlsplit(url).scheme
    if scheme not in SCHEMES:
        known = ", ".join(sorted(SCHEMES))
        raise ConfigError(
            "{what}: messages do not go by {scheme}; use one of {known}",
            what=what,
            scheme=scheme or Translatable("no scheme"),
            known=known,
        )
    return scheme


def check_written_host(host: str, may_reach: Collection[str], what: str) -> None:
    """Refuse, before anything is sent, a host that is written as an address no message belongs to.

    Raises
    ------
    ConfigError
        When it is one; ``may_reach`` holds hosts that the baker allows all the same.
    """
    address = literal(host)
    why = (
        Translatable("this machine itself") if is_loopback(host) else "" if address is None else inside_reason(address)
    )
    if why and not is_allowed(host, may_reach):
        raise ConfigError(
            '{what}: its host is {why}; if a service of yours listens there, allow it: notify_inside = ["{host}"] in '
            "config.toml",
            what=what,
            why=why,
            host=host.strip("[]"),
        )


def check_reachable(host: str, may_reach: Collection[str], carrier: str, resolve: Resolve = addresses_of) -> None:
    """Look a host up, just before a message goes to it, and refuse it when any of its addresses is inside.

    Raises
    ------
    NotifyError
        When it is inside (no later try can help), or is not known now (one can).
    """
    if is_allowed(host, may_reach):
        return
    try:
        found = resolve(host)
    except OSError as err:
        raise NotifyError("{carrier}: its host is not known now", retry=True, carrier=carrier) from err
    for address in found:
        why = inside_reason(address)
        if why:
            raise NotifyError(
                "{carrier}: its host leads to {why}; not sent (see notify_inside)",
                retry=False,
                carrier=carrier,
                why=why,
            )


def is_allowed(host: str, may_reach: Collection[str]) -> bool:
    """True when the baker allows a host by name, whatever its address."""
    return host.strip("[]").lower() in {one.lower() for one in may_reach}
