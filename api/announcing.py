"""A name for the service on the local network that stays when its address changes (multicast DNS, RFC 6762)."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from contextlib import contextmanager

from zeroconf import Error, ServiceInfo, Zeroconf


@contextmanager
def announced(name: str, addresses: list[str], port: int) -> Iterator[bool]:
    """Answer for a name ending in .local while the block runs; yield False where the network lets nobody do that."""
    try:
        radio = Zeroconf(interfaces=addresses)
    except (OSError, Error):
        yield False
        return
    stem = name.removesuffix(".local")
    info = ServiceInfo(
        "_https._tcp.local.",
        f"{stem}._https._tcp.local.",
        addresses=[socket.inet_aton(address) for address in addresses],
        port=port,
        server=f"{name}.",
    )
    try:
        try:
            radio.register_service(info, allow_name_change=False)
        except (OSError, Error):
            yield False
            return
        yield True
    finally:
        radio.close()
