"""This machine as others in its network see it: its names, and the addresses it has there."""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Iterable

import psutil

LOOPBACK_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
Network = ipaddress.IPv4Network | ipaddress.IPv6Network

LOOPBACK_ADDRESSES: tuple[Address, ...] = (ipaddress.ip_address("127.0.0.1"), ipaddress.ip_address("::1"))

HOME_NETWORKS: tuple[Network, ...] = tuple(
    ipaddress.ip_network(text)
    for text in ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "100.64.0.0/10", "127.0.0.0/8", "::1/128", "fc00::/7")
)
"""Addresses that lead nowhere in the internet: RFC 1918, RFC 3927, RFC 6598, loopback, and RFC 4193."""

_ELSEWHERE = {socket.AF_INET: "203.0.113.1", socket.AF_INET6: "2001:db8::1"}
"""Addresses kept for documentation (RFC 5737, RFC 3849): asking the way there sends nothing."""


def own_names() -> frozenset[str]:
    """The names under which this machine may be called in its network."""
    own = socket.gethostname().lower().rstrip(".")
    short = own.split(".")[0]
    return frozenset({own, short, f"{short}.local"}) - {"", ".local"}


def own_addresses() -> tuple[Address, ...]:
    """Every address this machine has now that another could open, the one towards the rest of the network first."""
    found = [_read(entry.address) for entries in psutil.net_if_addrs().values() for entry in entries if entry.family in _ELSEWHERE]
    usable = sorted(
        {one for one in found if not (one.is_loopback or (one.is_link_local and one.version == 6) or one.is_unspecified)}, key=str
    )
    towards = _towards_the_network()
    return tuple(sorted(usable, key=lambda one: (one not in towards, one.version, not is_home(one))))


def is_home(address: Address) -> bool:
    """Whether an address is one of a home or club network, or of this machine alone."""
    return any(address.version == network.version and address in network for network in HOME_NETWORKS)


def as_address(text: str) -> Address | None:
    """The numeric address a text is, or None where it is a name."""
    try:
        return ipaddress.ip_address(text.strip("[]"))
    except ValueError:
        return None


def is_loopback(host: str) -> bool:
    """Whether only this machine can reach that address."""
    address = as_address(host)
    return host.lower() == "localhost" if address is None else address.is_loopback


def in_address(host: str | Address) -> str:
    """A host as it stands in a web address: version 6 in brackets."""
    text = str(host)
    return f"[{text}]" if ":" in text else text


def _read(text: str) -> Address:
    # Of a version 6 address the system may name the interface behind a percent sign.
    return ipaddress.ip_address(text.split("%")[0])


def _towards_the_network() -> Iterable[Address]:
    """The addresses from which this machine would speak to any other."""
    found = []
    for family, elsewhere in _ELSEWHERE.items():
        try:
            with socket.socket(family, socket.SOCK_DGRAM) as asking:
                asking.connect((elsewhere, 9))
                found.append(_read(asking.getsockname()[0]))
        except OSError:  # no way out of this network in that version
            continue
    return found
