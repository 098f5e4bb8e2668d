"""The local authority: it can vouch for this laptop on the local network and nothing else, as OpenSSL judges it.

RFC 5280 section 4.2.1.10 (name constraints); the verifier is OpenSSL through Python's `ssl`, with X.509 strictness.
"""

from __future__ import annotations

import datetime as dt
import os
import socket
import ssl
import stat
import threading

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec

from api import sharing
from api.sharing_words import invitation
from gridmap.errors import InputRefused


def hand_shake(certificate, key, authority, name):
    """Return the TLS version that a strict client agrees on with a server that has this certificate."""
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(certificate, key)
    client = ssl.create_default_context(cafile=str(authority))
    client.verify_flags |= ssl.VERIFY_X509_STRICT
    listener = socket.create_server(("127.0.0.1", 0))

    def answer():
        try:
            connection, _ = listener.accept()
            with connection, server.wrap_socket(connection, server_side=True) as secure:
                secure.recv(1)
        except (OSError, ssl.SSLError):
            pass

    thread = threading.Thread(target=answer)
    thread.start()
    try:
        with (
            socket.create_connection(listener.getsockname()) as plain,
            client.wrap_socket(plain, server_hostname=name) as secure,
        ):
            return secure.version()
    finally:
        thread.join()
        listener.close()


def test_openssl_trusts_the_laptop_by_name_and_by_private_address(tmp_path):
    made = sharing.identity(tmp_path, "ann-laptop.local", ["192.168.1.20", "127.0.0.1"])
    for name in ("ann-laptop.local", "192.168.1.20", "127.0.0.1"):
        assert hand_shake(made.certificate, made.key, made.authority, name) == "TLSv1.3"
    with pytest.raises(ssl.SSLCertVerificationError, match=r"mismatch"):
        hand_shake(made.certificate, made.key, made.authority, "other.local")


@pytest.mark.parametrize("name", ["bank.example", "local.example", "notlocal"])
def test_openssl_takes_no_site_of_the_world_from_the_authority(tmp_path, name):
    made = sharing.identity(tmp_path, "ann-laptop.local", [])
    authority, authority_key = sharing._authority(tmp_path)
    key = ec.generate_private_key(ec.SECP256R1())
    forged = sharing._server(authority, authority_key, key.public_key(), name, [])
    sharing._keep(tmp_path / "forged.pem", forged.public_bytes(sharing.serialization.Encoding.PEM), secret=False)
    sharing._keep(tmp_path / "forged-key.pem", sharing._key_bytes(key), secret=True)
    with pytest.raises(ssl.SSLCertVerificationError, match=r"permitted subtree violation"):
        hand_shake(tmp_path / "forged.pem", tmp_path / "forged-key.pem", made.authority, name)


def test_a_public_address_is_left_out(tmp_path):
    made = sharing.identity(tmp_path, "ann-laptop.local", ["203.0.113.9", "10.1.2.3"])
    held = x509.load_pem_x509_certificate(made.certificate.read_bytes())
    names = held.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert [str(address) for address in names.get_values_for_type(x509.IPAddress)] == ["10.1.2.3"]
    # 398 days at most, or phones refuse it
    assert held.not_valid_after_utc - held.not_valid_before_utc <= dt.timedelta(days=398)


@pytest.mark.skipif(os.name != "posix", reason="permissions are POSIX")
def test_keys_are_the_users_alone(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    folder = sharing.config_folder()
    sharing.identity(folder, "ann-laptop.local", [])
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    for name in ("authority-key.pem", "server-key.pem"):
        assert stat.S_IMODE((folder / name).stat().st_mode) == 0o600


def test_the_authority_stays_and_the_certificate_follows_the_address(tmp_path):
    first = sharing.identity(tmp_path, "ann-laptop.local", ["10.0.0.5"])
    before = first.certificate.read_bytes()
    assert sharing.identity(tmp_path, "ann-laptop.local", ["10.0.0.5"]) == first
    assert first.certificate.read_bytes() == before
    moved = sharing.identity(tmp_path, "ann-laptop.local", ["10.0.0.6"])
    assert moved.fingerprint == first.fingerprint
    assert moved.certificate.read_bytes() != before


def test_the_code_stands_where_no_browser_sends_it():
    # RFC 9110 section 4.2.5: a fragment is not part of the request
    said = invitation("https://ann-laptop.local:8766/", "ABCDEFGHJKMN", "helper")
    assert "ABCD-EFGH-JKMN" in said
    assert "may record" in said


def test_a_taken_port_is_told():
    from api.serving import listening

    taken = socket.create_server(("127.0.0.1", 0))
    with pytest.raises(InputRefused, match=r"Port \d+ can.t be used") as refused:
        listening("127.0.0.1", taken.getsockname()[1])
    assert refused.value.remedy
    taken.close()
