"""The service killed twenty times under load: no acknowledged write is lost, none is doubled (no published example).

kill -9 is what a flat battery or the operating system does to a process; the disk itself goes on.
"""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import subprocess
import sys
import threading
import time
import uuid

import httpx2
import pytest

TIMES, PHONES = 20, 4
WALK = "00000000-0000-4000-8000-0000000000aa"
SERVE = """
import socket, sys
from pathlib import Path
from api.serving import serve_here
serve_here(Path(sys.argv[1]), demo=False, port=int(sys.argv[2]), say=lambda line: print(line, flush=True))
"""


def started(path, port):
    process = subprocess.Popen([sys.executable, "-c", SERVE, str(path), str(port)], stdout=subprocess.PIPE, text=True)
    with process.stdout as said:
        line = said.readline()
    assert "answers for" in line
    return process, int(line.partition("127.0.0.1:")[2].partition("/")[0])


def until_answered(client, method, url, body, acknowledged):
    """Send until an answer comes, as a phone does: the same again after a broken connection."""
    while True:
        try:
            answer = client.request(method, url, json=body)
        except httpx2.TransportError:
            time.sleep(0.05)
            continue
        if answer.status_code in (200, 201):
            acknowledged.add(body["counts"][0]["count"])
            return
        assert answer.status_code == 503, answer.text


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="kill -9 is POSIX")
def test_killed_under_load_it_loses_and_doubles_nothing(demo_file, tmp_path):
    import shutil

    path = tmp_path / "grove.gpkg"
    shutil.copy(demo_file, path)
    process, port = started(path, 0)
    base = f"http://127.0.0.1:{port}"
    with httpx2.Client(base_url=base, timeout=30) as client:
        grove = f"/api/groves/{client.get('/api/groves').json()['groves'][0]['grove']}"
        trees = client.get(f"{grove}/trees").json()["columns"]["tree"]
        assert client.post(f"{grove}/walks", json={"walk": WALK, "date": "2026-01-05"}).status_code == 201
    acknowledged: list[set[str]] = [set() for _ in range(PHONES)]
    sent: list[set[str]] = [set() for _ in range(PHONES)]
    stop, failed = threading.Event(), []

    def phone(number):
        try:
            with httpx2.Client(base_url=base, timeout=30) as client:
                while not stop.is_set():
                    one = {
                        "count": str(uuid.uuid4()),
                        "tree": random.choice(trees),
                        "taps": 3,
                        "nymphs": 1,
                        "reason": "planned",
                    }
                    sent[number].add(one["count"])
                    until_answered(
                        client, "POST", f"{grove}/walks/{WALK}/counts", {"counts": [one]}, acknowledged[number]
                    )
        except BaseException as trouble:
            failed.append(trouble)
            raise

    threads = [threading.Thread(target=phone, args=[number]) for number in range(PHONES)]
    for thread in threads:
        thread.start()
    chance = random.Random(20)
    try:
        for _ in range(TIMES):
            time.sleep(chance.uniform(0.15, 0.6))
            process.send_signal(signal.SIGKILL)
            process.wait()
            process, _ = started(path, port)
        time.sleep(1)
    finally:
        stop.set()
        for thread in threads:
            thread.join(60)
        process.kill()
        process.wait()
    assert failed == []
    connection = sqlite3.connect(path)
    stored = [row[0] for row in connection.execute("SELECT uuid FROM count WHERE walk_uuid = ?", [WALK])]
    written = connection.execute(
        "SELECT count(*) FROM change WHERE table_name = 'count' AND before IS NULL AND row_uuid IN "
        "(SELECT uuid FROM count WHERE walk_uuid = ?)",
        [WALK],
    ).fetchone()[0]
    assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    connection.close()
    assert len(stored) == len(set(stored)) == written
    assert set.union(*acknowledged) <= set(stored) <= set.union(*sent)
    assert len(stored) > TIMES
