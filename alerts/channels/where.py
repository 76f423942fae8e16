"""Where a webhook may go: the name is looked up once, judged, and the very address that was judged is called."""

import socket
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network

NEVER = tuple(ip_network(n) for n in ("169.254.0.0/16", "fe80::/10", "100.100.100.200/32", "fd00:ec2::254/128"))
"""Link-local, and where hosts tell machines about themselves and their keys. The last two: from memory, not checked."""
_NAT64 = ip_network("64:ff9b::/96")
PUBLIC_PORTS = (80, 443)
OPEN_FROM = 1024
"""House: no well-known port of another service is called at a public address."""

Address = IPv4Address | IPv6Address
look_up = socket.getaddrinfo


@dataclass(frozen=True, slots=True)
class Refused:
    """Why an address is not called; the words name no address."""

    why: str


def inner(address: Address) -> Address:
    """Return the IPv4 address that an IPv6 address stands for, or the address itself."""
    if isinstance(address, IPv4Address):
        return address
    if address in _NAT64:
        return IPv4Address(int(address) & 0xFFFF_FFFF)
    return address.ipv4_mapped or address.sixtofour or address


def refusal(text: str, port: int, *, private: bool) -> Refused | None:
    """Return why an address may not be called, None where it may."""
    address = inner(ip_address(text.partition("%")[0]))
    if any(address in network for network in NEVER if network.version == address.version):
        return Refused("a link-local or metadata address is never called")
    if address.is_multicast or address.is_unspecified or (address.version == 4 and address.is_reserved):
        return Refused("it is no address of one machine")
    if not address.is_global:
        return None if private else Refused("a private address is called only with private_address = true")
    if port not in PUBLIC_PORTS and port < OPEN_FROM:
        return Refused("this port of a public address is not called")
    return None


def places(host: str, port: int, *, private: bool) -> list[str] | Refused:
    """Return the addresses of a host, each of which may be called; one that may not refuses them all."""
    try:
        found = look_up(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError):
        return Refused("the name was not found")
    texts = list(dict.fromkeys(str(one[4][0]) for one in found))
    for text in texts:
        refused = refusal(text, port, private=private)
        if refused is not None:
            return refused
    return texts
