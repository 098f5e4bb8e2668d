"""What the terminal says when a grove is shared: address, fingerprint, how to trust, code and picture to scan."""

from __future__ import annotations

import io

import segno

from api.steps.devices import grouped

ROLE_WORDS = {"owner": "may do everything", "helper": "may record walks and counts", "viewer": "may look"}


def invitation(address: str, code: str, role: str) -> str:
    """Return what a phone scans: the code stands behind #, which no browser sends and no log keeps."""
    picture = io.StringIO()
    segno.make_qr(f"{address}#pair={code}").terminal(out=picture, border=2, compact=True)
    return (
        f"{picture.getvalue()}\n"
        f"Scan it, or open {address} and type {grouped(code)}. "
        f"Good once, for 15 minutes; the device {ROLE_WORDS[role]}."
    )


def trust(address: str, fingerprint: str) -> str:
    """Say how a phone comes to trust the address."""
    return (
        f"A phone asks once whether it trusts this laptop: install {address}authority.pem as an authority (on the\n"
        "phone: settings, security, certificates). Look first that its SHA-256 fingerprint is\n"
        f"  {fingerprint}\n"
        "It can vouch for names ending in .local and for private addresses only. Without it the page works while its\n"
        "tab is open, after the browser's warning, and keeps nothing for the time without network."
    )
