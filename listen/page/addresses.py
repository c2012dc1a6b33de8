"""Which address of this machine a phone in the same room can reach."""

from __future__ import annotations

import ipaddress
import socket

from analysis.errors import ToothbeatError


class AddressError(ToothbeatError):
    """No address for phones."""


def local_address() -> str:
    """The machine's address on the network it uses by default.

    Asks the system which way it would send; nothing is sent.

    Raises
    ------
    AddressError
        If the machine is on no network.
    """
    for family, somewhere in (
        (socket.AF_INET, ("192.0.2.1", 9)),
        (socket.AF_INET6, ("2001:db8::1", 9)),
    ):
        with socket.socket(family, socket.SOCK_DGRAM) as probe:
            try:
                probe.connect(somewhere)
            except OSError:
                continue
            address = str(probe.getsockname()[0])
            if not ipaddress.ip_address(address).is_unspecified:
                return address
    raise AddressError(
        "This computer is on no network that a phone could reach. Join the Wi-Fi that the phone "
        "uses, or give the address with --address."
    )


def checked_address(text: str) -> str:
    """An address of this machine as the user typed it.

    Raises
    ------
    AddressError
        If it is not one, or means every network at once.
    """
    try:
        address = ipaddress.ip_address(text)
    except ValueError:
        raise AddressError(f'"{text}" is not a network address, like 192.168.1.20.') from None
    if address.is_unspecified or address.is_multicast:
        raise AddressError("Give the one address that phones shall use, not all of them.")
    return str(address)


def host_in_url(address: str) -> str:
    """An address as it stands in a URL.

    >>> host_in_url("192.168.1.20"), host_in_url("fd00::1")
    ('192.168.1.20', '[fd00::1]')
    """
    return f"[{address}]" if ":" in address else address
