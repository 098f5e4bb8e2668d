"""Sharing on the local network: https by an authority of our own that can vouch for nothing but this laptop.

A phone installs the authority's certificate once. It is constrained (RFC 5280, section 4.2.1.10) to names ending in
.local and to private addresses, so that whoever took its key could pretend to be no site of the world. The key stays in
the user's own configuration folder, readable by the user alone.
"""

from __future__ import annotations

import datetime as dt
import ipaddress
import os
import re
import socket
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from gridmap.errors import InputRefused

#: RFC 1918, RFC 4193, RFC 3927, RFC 4291 and loopback.
PRIVATE: Final = (
    "10.0.0.0/8",
    "172.16.0.0/12",
    "192.168.0.0/16",
    "169.254.0.0/16",
    "127.0.0.0/8",
    "fc00::/7",
    "fe80::/10",
    "::1/128",
)
_AUTHORITY_LIVES: Final = dt.timedelta(days=3650)
#: Browsers of phones take no certificate for a server that lives longer than 398 days, authorities of one's own too.
_SERVER_LIVES: Final = dt.timedelta(days=397)
_RENEW_BEFORE: Final = dt.timedelta(days=30)


@dataclass(frozen=True)
class Identity:
    """What the service shows who it is by.

    Parameters
    ----------
    certificate, key : Path
        Of the server (PEM).
    authority : Path
        Certificate that a phone trusts (PEM).
    fingerprint : str
        SHA-256 of the authority's certificate, as a phone shows it.
    """

    certificate: Path
    key: Path
    authority: Path
    fingerprint: str


def config_folder() -> Path:
    """Return the user's own folder for configuration, made when it is not there, open to the user alone."""
    if sys.platform == "win32":
        base = Path(os.environ.get("APPDATA") or Path.home() / "AppData" / "Roaming")
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Application Support"
    else:
        base = Path(os.environ.get("XDG_CONFIG_HOME") or Path.home() / ".config")
    folder = base / "gridmap"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        folder.chmod(0o700)
    except OSError as error:
        raise InputRefused(f"the folder {folder} can't be made", str(error.strerror)) from None
    return folder


def local_name(wanted: str | None = None) -> str:
    """Return the name of this machine on the local network: letters, digits, hyphens, ending in .local.

    Examples
    --------
    >>> local_name("Ann's Laptop.home")
    'ann-s-laptop.local'
    """
    first = (socket.gethostname() if wanted is None else wanted).partition(".")[0].lower()
    return f"{re.sub(r'[^a-z0-9]+', '-', first).strip('-')[:50] or 'grove'}.local"


def identity(folder: Path, name: str, addresses: list[str]) -> Identity:
    """Return certificate and key for a name and addresses, by the authority in a folder; both are made when needed.

    Parameters
    ----------
    folder : Path
        The user's own configuration folder.
    name : str
        Ends in .local.
    addresses : list of str
        Addresses of this machine; those that are not private are left out.
    """
    addresses = [address for address in addresses if vouched_for(address)]
    authority, authority_key = _authority(folder)
    certificate, key = folder / "server.pem", folder / "server-key.pem"
    if not _still_good(certificate, key, authority, name, addresses):
        made_key = ec.generate_private_key(ec.SECP256R1())
        made = _server(authority, authority_key, made_key.public_key(), name, addresses)
        _keep(key, _key_bytes(made_key), secret=True)
        _keep(certificate, made.public_bytes(serialization.Encoding.PEM), secret=False)
    shown = authority.fingerprint(hashes.SHA256()).hex(":").upper()
    return Identity(certificate, key, folder / "authority.pem", shown)


def _authority(folder: Path) -> tuple[x509.Certificate, ec.EllipticCurvePrivateKey]:
    """Return the authority with its key."""
    certificate, key = folder / "authority.pem", folder / "authority-key.pem"
    if certificate.exists() and key.exists():
        held = x509.load_pem_x509_certificate(certificate.read_bytes())
        held_key = serialization.load_pem_private_key(key.read_bytes(), None)
        if held.not_valid_after_utc - _now() > _SERVER_LIVES and isinstance(held_key, ec.EllipticCurvePrivateKey):
            return held, held_key
    made_key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"gridmap on {socket.gethostname()[:40]}")])
    allowed: list[x509.GeneralName] = [x509.DNSName("local")]
    allowed += [x509.IPAddress(ipaddress.ip_network(network)) for network in PRIVATE]
    made = (
        _begun(name, name, made_key.public_key(), _AUTHORITY_LIVES)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(x509.NameConstraints(allowed, None), critical=True)
        .add_extension(_usage(certificates=True), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(made_key.public_key()), critical=False)
        .sign(made_key, hashes.SHA256())
    )
    _keep(key, _key_bytes(made_key), secret=True)
    _keep(certificate, made.public_bytes(serialization.Encoding.PEM), secret=False)
    return made, made_key


def _server(
    authority: x509.Certificate,
    authority_key: ec.EllipticCurvePrivateKey,
    public_key: ec.EllipticCurvePublicKey,
    name: str,
    addresses: list[str],
) -> x509.Certificate:
    """Sign a certificate for this laptop."""
    names: list[x509.GeneralName] = [x509.DNSName(name)]
    names += [x509.IPAddress(ipaddress.ip_address(address)) for address in addresses]
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    return (
        _begun(subject, authority.subject, public_key, _SERVER_LIVES)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(_usage(certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(public_key), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(authority_key.public_key()), critical=False)
        .sign(authority_key, hashes.SHA256())
    )


def _begun(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePublicKey, lives: dt.timedelta
) -> x509.CertificateBuilder:
    # An hour back: a phone's clock may be a little behind
    begins = _now() - dt.timedelta(hours=1)
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(begins)
        .not_valid_after(begins + lives)
    )


def _usage(*, certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=certificates,
        crl_sign=certificates,
        encipher_only=False,
        decipher_only=False,
    )


def _still_good(certificate: Path, key: Path, authority: x509.Certificate, name: str, addresses: list[str]) -> bool:
    """Tell whether the certificate that is there still does."""
    if not (certificate.exists() and key.exists()):
        return False
    held = x509.load_pem_x509_certificate(certificate.read_bytes())
    names = held.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    there = {str(address) for address in names.get_values_for_type(x509.IPAddress)}
    return (
        held.not_valid_after_utc - _now() > _RENEW_BEFORE
        and name in names.get_values_for_type(x509.DNSName)
        and set(addresses) <= there
        and held.issuer == authority.subject
        and held.extensions.get_extension_for_class(x509.AuthorityKeyIdentifier).value.key_identifier
        == authority.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value.digest
    )


def _key_bytes(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )


def _keep(path: Path, content: bytes, *, secret: bool) -> None:
    """Write a file whole or not at all; a secret one is the user's alone from its first byte on."""
    temporary = path.with_name(f".{path.name}.new")
    temporary.unlink(missing_ok=True)
    handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600 if secret else 0o644)
    with os.fdopen(handle, "wb") as file:
        file.write(content)
    temporary.replace(path)


def _now() -> dt.datetime:
    return dt.datetime.now(dt.UTC)


def vouched_for(address: str) -> bool:
    """Tell whether the authority may vouch for an address: private ones alone.

    Examples
    --------
    >>> vouched_for("192.168.1.20"), vouched_for("203.0.113.9")
    (True, False)
    """
    known = ipaddress.ip_address(address)
    return any(known in network for network in map(ipaddress.ip_network, PRIVATE) if network.version == known.version)


def addresses() -> list[str]:
    """Return the IPv4 addresses under which the local network reaches this machine."""
    import ifaddr  # comes with zeroconf

    found = []
    for adapter in ifaddr.get_adapters():
        for one in adapter.ips:
            if one.is_IPv4 and isinstance(one.ip, str):
                address = ipaddress.ip_address(one.ip)
                if not (address.is_loopback or address.is_link_local):
                    found.append(str(address))
    return sorted(set(found))
