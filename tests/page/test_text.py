"""Names and notes that come from users are text everywhere: nothing of theirs runs, the policy is never even asked.

Stored cross-site scripting as the OWASP Web Security Testing Guide 4.2 has it (WSTG-INPV-02).
"""

from __future__ import annotations

import json
import re
import urllib.request

MARKUP = '<img src=x onerror="window.hit=1">'
OTHER = "<svg/onload=window.hit=2>"
LISTEN = """
window.hit = 0;
window.violations = [];
document.addEventListener("securitypolicyviolation", (event) => window.violations.push(event.violatedDirective));
"""


def test_a_hostile_name_stays_text(visit, fresh):
    base = f"{fresh.address}/api/groves/{fresh.grove}"

    def ask(path, method="GET", body=None, version=None):
        headers = {"Content-Type": "application/json"} if body is not None else {}
        if version is not None:
            headers["If-Match"] = f'"{version}"'
        data = json.dumps(body).encode() if body is not None else None
        request = urllib.request.Request(f"{base}/{path}", data, headers, method=method)
        return json.load(urllib.request.urlopen(request))

    block = ask("blocks")["features"][0]
    edit = {"type": "Feature", "properties": {"block": MARKUP}}
    ask(f"blocks/{block['id']}", "PATCH", edit, block["properties"]["version"])
    keep = ask("keep-outs")["features"][0]
    edit = {"type": "Feature", "properties": {"name": OTHER}}
    ask(f"keep-outs/{keep['id']}", "PATCH", edit, keep["properties"]["version"])

    one = visit()
    one.page.add_init_script(LISTEN)
    page = one.go(fresh.address, "pressure")
    assert MARKUP in page.get_by_role("table", name="Blocks").inner_text()
    # Through the map's keyboard, the slip, the table, every place
    page.locator(".plan-map").focus()
    page.keyboard.press("Home")
    page.keyboard.press("Enter")
    page.locator("dialog[open] h2", has_text="row").wait_for()
    page.keyboard.press("Escape")
    page.get_by_role("button", name="Map as table").click()
    assert MARKUP in page.locator("dialog[open] select").inner_text()
    page.keyboard.press("Escape")
    one.picture("names")
    for place in ("Ground", "Treat"):
        page.get_by_role("link", name=place).click()
        page.locator(f"body[data-place={place.lower()}]").wait_for(state="attached")
        page.locator(f".sheet-body[data-place={place.lower()}] h1").first.wait_for(timeout=30_000)
    one.stand()
    assert page.evaluate("[window.hit, window.violations]") == [0, []]
    assert page.locator("main img[src='x'], main svg[onload]").count() == 0


def test_the_policy_lets_in_one_import_map_and_no_other_script(visit, service):
    one = visit()
    one.allow("Content Security Policy|Content-Security-Policy")
    page = one.go(service.address)
    policy = page.evaluate("fetch('/').then((answer) => answer.headers.get('content-security-policy'))")
    # The page has started, so the browser took the map by this hash; here it is made by the browser's own digest
    digest = page.evaluate("""async () => {
      const text = new TextEncoder().encode(document.querySelector("script[type=importmap]").textContent);
      const bytes = new Uint8Array(await crypto.subtle.digest("SHA-256", text));
      return btoa(String.fromCharCode(...bytes));
    }""")
    assert re.search(r"script-src ([^;]*)", policy)[1] == f"'self' 'sha256-{digest}'"
    ran = page.evaluate("""() => {
      window.ran = false;
      const script = document.createElement("script");
      script.textContent = "window.ran = true";
      document.head.append(script);
      return window.ran;
    }""")
    assert ran is False
    assert [trouble for trouble in one.troubles if "Refused" in trouble or "violates" in trouble]
