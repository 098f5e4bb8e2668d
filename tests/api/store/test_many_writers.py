"""Eight clients write to one grove at once, four processes of two threads: none fails, nothing is lost or doubled.

No published example: the number of clients is the project's own aim. How long the slowest waited is printed.
"""

from __future__ import annotations

import json
import sys

import pytest

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="fork is POSIX")
BOTH_STORES = True

# One process loads everything; its children share nothing but the grove, and each thread opens it for itself
EIGHT = """
import json, os, sys, threading, time, uuid
import pandas as pd
from api.store import open_grove

where, acts = sys.argv[1], int(sys.argv[2])
with open_grove(where, read_only=True) as store:
    walk, trees = store.walks()["walk"][0], store.trees()["tree"].to_numpy()[:3]
from api.store import database
database.let_go()


def client(who, told):
    waits, failed = [], []
    try:
        with open_grove(where) as store:
            for number in range(acts):
                frame = pd.DataFrame({"count": [str(uuid.uuid4()) for _ in trees], "walk": walk, "tree": trees,
                                      "taps": 3, "nymphs": number, "adults": 0, "reason": "planned"})
                begun = time.monotonic()
                store.add_counts(frame, who=who)
                waits.append(time.monotonic() - begun)
                store.counts()
    except Exception as error:
        failed.append(repr(error))
    told.append((waits, failed))


pipes = []
for child in range(4):
    read, write = os.pipe()
    pipes.append(read)
    if os.fork() == 0:
        told = []
        threads = [threading.Thread(target=client, args=(f"{child}.{n}", told)) for n in range(2)]
        for thread in threads: thread.start()
        for thread in threads: thread.join()
        os.write(write, json.dumps(told).encode())
        os._exit(0)
    os.close(write)
waits, failed = [], []
for read in pipes:
    with os.fdopen(read) as file:
        for some, errors in json.load(file):
            waits += some
            failed += errors
for _ in pipes: os.wait()
print(json.dumps({"failed": failed, "acts": len(waits), "slowest_s": max(waits), "all_s": sum(waits)}))
"""
ACTS = 20


def test_eight_clients_write_at_once_and_none_fails(grove, run_python, open_again):
    where = str(grove.path) if hasattr(grove, "path") else f"{grove.address.url}#{grove.grove.uuid}"
    told = json.loads(run_python(EIGHT, where, ACTS).stdout)
    print(told)
    assert told["failed"] == []
    assert told["acts"] == 8 * ACTS
    with open_again(grove) as store:
        assert len(store.counts()) == 8 * ACTS * 3
        acts = store.acts(None)
        made = acts[acts["what"] == "add counts"]
        assert made["who"].value_counts().to_dict() == {f"{a}.{b}": ACTS for a in range(4) for b in range(2)}
        # A number is given once: who asks what came after it never misses an act
        history = store.history(None)
        assert not history.duplicated(["act", "table", "row"]).any()
