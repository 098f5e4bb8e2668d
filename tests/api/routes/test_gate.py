"""What every request passes: host, origin, media type, size, depth, NaN; and what every answer carries.

RFC 8259 (JSON), RFC 9457 (problems), RFC 9110 (status codes), Content Security Policy Level 3, Fetch Metadata Request
Headers.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re

import pytest

U1 = "00000000-0000-4000-8000-000000000001"
JSON = {"Content-Type": "application/json"}


def test_every_answer_is_dressed(reading):
    for path in ("/", "/api/groves", "/nowhere", f"{reading.base}/blocks"):
        headers = reading.client.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "http" not in policy
        assert "*" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
        assert "access-control-allow-origin" not in headers


def test_the_import_map_is_let_in_by_its_hash_and_no_other_script_stands_in_the_page(reading):
    answer = reading.client.get("/")
    assert answer.status_code == 200
    inline = [
        found for found in re.findall(r"<script([^>]*)>(.*?)</script>", answer.text, re.DOTALL) if found[1].strip()
    ]
    # CSP Level 3 section 2.3.1: the base 64 of the SHA-256 of the element's text
    for attributes, text in inline:
        assert "importmap" in attributes
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert f"'sha256-{digest}'" in answer.headers["content-security-policy"]
    assert not re.search(r"\son\w+=|javascript:|<style", answer.text)


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": "http://testserver.evil.example"},
        {"Origin": "https://testserver"},
        {"Origin": "http://testserver:81"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Origin": "http://[bad"},
    ],
)
def test_a_write_from_another_site_is_refused(reading, headers, is_problem):
    is_problem(reading.client.post(f"{reading.base}/undo", json={}, headers=headers), 403, "not-allowed")


def test_a_write_from_the_page_itself_is_not(demo):
    own = {"Origin": "http://testserver", "Sec-Fetch-Site": "same-origin"}
    answer = demo.client.post(f"{demo.base}/walks", json={"walk": U1, "date": "2026-01-05"}, headers=own)
    assert answer.status_code == 201


@pytest.mark.parametrize("host", ["evil.example", "testserver.evil.example", "testserver@evil.example", ""])
def test_another_name_is_refused(reading, host, is_problem):
    # a page elsewhere lets its own name point at this machine (DNS rebinding)
    is_problem(reading.client.get("/api/groves", headers={"Host": host}), 403, "not-allowed")


@pytest.mark.parametrize(
    ("body", "status", "kind"),
    [
        (b"{", 400, "not-understood"),
        (b"\xff", 400, "not-understood"),
        (b'{"a": NaN}', 400, "not-understood"),
        (b'{"a": Infinity}', 400, "not-understood"),
        (b'{"a": 1e999}', 400, "not-understood"),
        (b"[" * 100_000 + b"]" * 100_000, 400, "not-understood"),
        (b"[" * 40 + b"]" * 40, 400, "not-understood"),
        (b'{"a": ' + b"9" * 5000 + b"}", 400, "not-understood"),
        (b'{"a": "\\ud800"}', 400, "not-understood"),
        (b'{"a": "\\u0000"}', 400, "not-understood"),
        (b'{"taps": 1}', 422, "input-refused"),
        (b"[]", 422, "input-refused"),
        (b"null", 422, "input-refused"),
        (b"", 422, "input-refused"),
    ],
)
def test_a_body_that_can_not_be_is_told(reading, body, status, kind, is_problem):
    is_problem(reading.client.post(f"{reading.base}/walks", content=body, headers=JSON), status, kind)


def test_another_media_type_is_told(reading, is_problem):
    for media in ("text/plain", "application/x-www-form-urlencoded", "application/xml"):
        answer = reading.client.post(f"{reading.base}/walks", content=b"{}", headers={"Content-Type": media})
        is_problem(answer, 415, "media-type")


def test_what_is_too_large_is_told(reading, is_problem):
    is_problem(reading.client.post(f"{reading.base}/walks", content=b" " * (9 * 2**20), headers=JSON), 413, "too-large")

    def endless():
        for _ in range(9 * 16):
            yield b" " * 65536

    is_problem(reading.client.post(f"{reading.base}/walks", content=endless(), headers=JSON), 413, "too-large")
    ring = [[-9.4 + i * 1e-7, -31.9] for i in range(20_001)]
    drawn = {
        "type": "Feature",
        "id": U1,
        "properties": {"block": "A"},
        "geometry": {"type": "Polygon", "coordinates": [ring]},
    }
    told = is_problem(reading.client.post(f"{reading.base}/blocks", json=drawn), 413, "too-large")
    assert "20,000" in told["rule"]
    facts = {"file": ("facts.json", b" " * (2 * 2**20))}
    told = is_problem(reading.client.post(f"{reading.base}/imports/facts", files=facts), 413, "too-large")
    assert "1 MB" in told["rule"]


def test_an_unknown_grove_and_an_unknown_address_are_not_there(reading, is_problem):
    for grove in (U1, "x", "%2e%2e", "%00"):
        is_problem(reading.client.get(f"/api/groves/{grove}/blocks"), 404, "not-found")
    for path in (
        "/nowhere",
        "/..%2f..%2fpyproject.toml",
        "/package.json",
        "/lib/package-lock.json",
        "/js/",
        "/%00",
        "/api",
    ):
        is_problem(reading.client.get(path), 404, "not-found")
    is_problem(reading.client.put(f"{reading.base}/blocks"), 405, "no-such-operation")


def test_what_nobody_foresaw_is_no_traceback(demo, monkeypatch, is_problem):
    from fastapi.testclient import TestClient

    from api.steps import overview

    def broken(where):
        raise RuntimeError("secret path /home/somebody")

    monkeypatch.setattr(overview, "overview", broken)
    answer = TestClient(demo.app, raise_server_exceptions=False).get(demo.base)
    told = is_problem(answer, 500, "not-foreseen")
    assert "secret" not in json.dumps(told)


def test_a_layer_is_not_sent_twice(demo):
    for path in ("blocks", "trees", "rows", "pressure", "keep-outs", "walks", "facts", "zones"):
        first = demo.client.get(f"{demo.base}/{path}")
        tag = first.headers["etag"]
        again = demo.client.get(f"{demo.base}/{path}", headers={"If-None-Match": tag})
        assert again.status_code == 304, path
        assert again.content == b""
    demo.client.post(f"{demo.base}/walks", json={"walk": U1, "date": "2026-01-05"})
    assert demo.client.get(f"{demo.base}/zones", headers={"If-None-Match": tag}).status_code == 200


def test_a_busy_grove_says_so(demo, monkeypatch, is_problem):
    from api.routes import ground
    from gridmap.errors import GroveBusy

    def busy(where, **more):
        raise GroveBusy("home.gpkg is kept locked by another program", "nothing was changed", "close the edit there")

    monkeypatch.setattr(ground.layers, "blocks_layer", busy)
    answer = demo.client.get(f"{demo.base}/blocks")
    is_problem(answer, 503, "grove-busy")
    assert answer.headers["retry-after"] == "5"


def test_sw_has_its_scope(reading):
    answer = reading.client.get("/sw.js")
    if answer.status_code == 200:
        assert answer.headers["service-worker-allowed"] == "/"
        assert answer.headers["cache-control"] == "no-cache"
