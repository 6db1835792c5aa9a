"""Names and addresses of this machine in the local network."""

from __future__ import annotations

import ipaddress
import socket
from functools import cache

import ifaddr

_HERE = frozenset({"127.0.0.1", "::1"})


@cache
def names() -> list[str]:
    """The host names of this machine: its own, the one that local networks know without a name server (RFC
    6762), a full one where it has that.
    """
    own = socket.gethostname().lower()
    full = socket.getfqdn().lower()
    short = own.partition(".")[0]
    return list(
        dict.fromkeys(
            name
            for name in (own, f"{short}.local", full)
            if name and name != "localhost" and not _is_address(name) and not name.endswith(".arpa")
        )
    )


def of_the_network() -> list[str]:
    """Addresses of this machine in its networks, those that other machines are likeliest to reach first:
    private ones of IPv4, other ones, IPv6.
    """
    ranked = []
    for adapter in ifaddr.get_adapters():
        for ip in adapter.ips:
            text = ip.ip if isinstance(ip.ip, str) else ip.ip[0]
            address = ipaddress.ip_address(text.partition("%")[0])
            if not (address.is_loopback or address.is_link_local or address.is_multicast):
                ranked.append((address.version, not address.is_private, str(address)))
    return [text for *_, text in sorted(ranked)]


def of_this_machine() -> list[str]:
    """Every address and name, as a certificate lists them."""
    return list(dict.fromkeys(["localhost", *sorted(_HERE), *of_the_network(), *names()]))


def reached_at() -> str:
    """The likeliest address of this machine for a phone; its name where it is in no network."""
    return next(iter(of_the_network()), next(iter(names()), "localhost"))


def url(host: str, port: int, *, secure: bool) -> str:
    """The address of the pages at a host name or an address."""
    return f"{'https' if secure else 'http'}://{f'[{host}]' if ':' in host else host}:{port}"


def canonical(text: str) -> str:
    """A host name or an address as it is written in one way only."""
    host = text.strip("[]").partition("%")[0].rstrip(".").lower()
    return str(ipaddress.ip_address(host)) if _is_address(host) else host


def is_loopback(host: str) -> bool:
    """Whether only this machine reaches it."""
    return host == "localhost" or (_is_address(host) and ipaddress.ip_address(host).is_loopback)


def _is_address(text: str) -> bool:
    try:
        ipaddress.ip_address(text)
    except ValueError:
        return False
    return True
