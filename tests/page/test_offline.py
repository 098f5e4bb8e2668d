"""With the network off after the first visit: the page opens, shows what it knew, and says how old that is.

The steps are the manner "works with the network off from the first visit on"; that a worker's cache answers before the
network and that a waiting worker takes over only when told is Service Workers (W3C), sections 2.1 and 4.1.5.
"""

from __future__ import annotations

import dataclasses
import json
import re
import shutil
import urllib.request

OFF = r"ERR_INTERNET_DISCONNECTED|ERR_CONNECTION_REFUSED|ERR_FAILED"
# Whether the worker keeps the page, and whether what should be seen later has been read ahead.
KEPT = """async () => {
  await navigator.serviceWorker.ready;
  const names = await caches.keys();
  const kept = names.length ? await (await caches.open(names[0])).keys() : [];
  const files = kept.map((one) => new URL(one.url).pathname);
  return { names, files, led: Boolean(navigator.serviceWorker.controller) };
}"""


def first_visit(visit, service, size="laptop"):
    """Visit once with the network on, until the page is kept and the earlier walks are read ahead."""
    one = visit(size, worker=True)
    one.allow(OFF)
    one.go(service.address)
    one.page.locator("body[data-kept=true]").wait_for(state="attached", timeout=60_000)
    return one


def test_every_file_of_the_page_is_kept(visit, service):
    one = first_visit(visit, service)
    kept = one.page.evaluate(KEPT)
    assert kept["led"]
    assert len(kept["names"]) == 1
    worker = urllib.request.urlopen(f"{service.address}/sw.js").read().decode()
    listed = json.loads(re.match(r"self\.SHELL = (\{.*?\});\n", worker)[1])["files"]
    assert sorted(kept["files"]) == sorted(listed)
    # What the page asked for while it was used is in the list: nothing would be missing later
    asked = one.page.evaluate("performance.getEntriesByType('resource').map((one) => new URL(one.name).pathname)")
    assert {path for path in asked if not path.startswith("/api/")} <= {*listed, "/sw.js"}
    assert not [path for path in kept["files"] if path.startswith("/api")]


def test_a_walk_through_the_grove_with_the_network_off(visit, service):
    one = first_visit(visit, service)
    page = one.page
    title = page.locator("#sheet h1").inner_text()
    one.context.set_offline(True)
    page.reload()
    one.stand()
    assert page.locator("#sheet h1").inner_text() == title
    status = page.locator("#status").inner_text()
    assert re.search(r"grove computer does not answer.*as of \d+ \w+ at \d\d:\d\d\.", status), status
    # The year line leads to an earlier walk and back
    page.locator("#yearline").get_by_role("option", name=re.compile("^walk")).first.click()
    page.get_by_role("button", name="Back to today").wait_for()
    assert page.locator("#sheet h1").inner_text() != title
    one.picture("earlier")
    page.get_by_role("button", name="Back to today").click()
    # A tree of the map still answers why
    page.locator(".plan-map").focus()
    page.keyboard.press("Home")
    page.keyboard.press("Enter")
    page.locator("dialog[open]").wait_for()
    page.keyboard.press("Escape")
    # What needs the service says so on its button
    assert page.get_by_role("button", name=re.compile("^Needs the grove computer")).count() > 0
    one.picture("off")
    one.context.set_offline(False)
    page.locator("#status", has_text="saved").wait_for()


def test_the_page_notices_by_itself_that_the_service_is_back(visit, empty):
    one = visit(worker=True)
    one.allow(OFF)
    page = one.go(empty.address)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    empty.stop()
    page.reload()
    one.stand()
    status = page.locator("#status")
    status.get_by_text("does not answer").wait_for()
    empty.start()
    status.get_by_text("does not answer").wait_for(state="detached", timeout=15_000)


def test_what_this_device_may_not_see_any_more_is_forgotten(visit, fresh, empty):
    one = visit()
    page = one.go(fresh.address)
    keys = """() => new Promise((done) => {
      const open = indexedDB.open("gridmap-answers");
      open.onsuccess = () => {
        const asked = open.result.transaction("answers").objectStore("answers").getAllKeys();
        asked.onsuccess = () => { open.result.close(); done(asked.result); };
      };
    })"""
    assert any(fresh.grove in key for key in page.evaluate(keys))
    # Another grove is served at the address: whoever asks now may not see the first
    fresh.stop()
    fresh.settings = empty.settings
    empty.stop()
    fresh.start()
    page.reload()
    one.stand()
    page.locator("#grove-name", has_text="Home").wait_for()
    left = page.evaluate(keys)
    assert left
    assert not [key for key in left if fresh.grove in key]


def test_a_newer_page_waits_until_it_is_asked_for(visit, empty, page_files, tmp_path):
    folder = shutil.copytree(page_files, tmp_path / "page")
    empty.stop()
    empty.settings = dataclasses.replace(empty.settings, page=folder)
    empty.start()
    one = visit(worker=True)
    page = one.go(empty.address)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    words = folder / "js" / "words-shell.js"
    words.write_text(words.read_text("utf-8").replace('"place.ground": "Ground"', '"place.ground": "Soil"'), "utf-8")
    page.reload()
    one.stand()
    button = page.get_by_role("button", name="Use it now")
    button.wait_for()
    assert page.locator("#places").get_by_text("Ground").is_visible()
    one.picture("newer")
    with page.expect_navigation():
        button.click()
    one.stand()
    assert page.locator("#places").get_by_text("Soil").is_visible()
