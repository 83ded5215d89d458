"""Which addresses are this machine itself, and which lie in the inside of a network where no message belongs."""

import socket
from collections.abc import Iterator
from ipaddress import IPv4Address, IPv6Address, ip_address

from monitor.translatable import Translatable

Address = IPv4Address | IPv6Address

LOOPBACK = "127.0.0.1"
DASHBOARD_PORT = 8501  # where the dashboard listens unless it is told otherwise

# Where clouds hand out keys to whoever asks from inside; from memory. The link-local one is caught as such.
_METADATA = frozenset(
    map(ip_address, ("100.100.100.200", "168.63.129.16", "192.0.0.192", "fd00:ec2::254", "fd20:ce::254"))
)
_NAT64 = int(ip_address("64:ff9b::")) >> 32  # the well-known prefix of RFC 6052, 96 bits
_LOOPBACK_NAMES = ("localhost", "localhost.")  # RFC 6761 6.3


def literal(host: str) -> Address | None:
    """The address that a host is when it is written as one; None for a name."""
    try:
        return ip_address(host.strip("[]").partition("%")[0])
    except ValueError:
        return None


def is_loopback(host: str) -> bool:
    """True when a host, as it is written, is this machine alone. A name other than ``localhost`` is not looked up.

    >>> is_loopback("127.0.0.1"), is_loopback("::1"), is_loopback("localhost"), is_loopback("oven.lan")
    (True, True, True, False)
    """
    address = literal(host)
    return host.lower() in _LOOPBACK_NAMES if address is None else address.is_loopback


def addresses_of(host: str) -> tuple[Address, ...]:
    """Every address a host has now, looked up where it is a name.

    Raises
    ------
    OSError
        When the name is not known or nobody can be asked.
    """
    try:
        found = socket.getaddrinfo(host.strip("[]"), None, type=socket.SOCK_STREAM)
    except UnicodeError as err:  # a label that is too long, or empty
        raise OSError(f"{host!r} is no host's name") from err
    return tuple(dict.fromkeys(ip_address(str(entry[4][0]).partition("%")[0]) for entry in found))


def inside_reason(address: Address) -> str:
    """Why a message must not go to an address; empty when it may.

    Addresses of a local network are allowed: a household's own push or mail server has one.

    >>> inside_reason(ip_address("::ffff:127.0.0.1"))
    'this machine itself'
    >>> inside_reason(ip_address("192.168.1.20"))
    ''
    """
    for one in _meant(address):
        if one.is_loopback or one.is_unspecified:
            return Translatable("this machine itself")
        if one.is_link_local:
            return Translatable("link-local, where clouds keep their keys")
        if one in _METADATA:
            return Translatable("where a cloud keeps its keys")
        if one.is_multicast or one == IPv4Address("255.255.255.255"):
            return Translatable("everybody at once")
    return ""


def _meant(address: Address) -> Iterator[Address]:
    """The address, and the IPv4 address it may carry."""
    yield address
    if isinstance(address, IPv6Address):
        carried = (address.ipv4_mapped, address.sixtofour, *(address.teredo or ()))
        yield from (one for one in carried if one is not None)
        if int(address) >> 32 == _NAT64:
            yield IPv4Address(int(address) & 0xFFFFFFFF)
