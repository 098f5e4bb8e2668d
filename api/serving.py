"""Run the service: on this machine alone, or shared on the local network over https."""

from __future__ import annotations

import contextlib
import logging
import socket
import tempfile
from collections.abc import Callable
from pathlib import Path

import uvicorn

from api.app import create_app
from api.settings import Settings
from api.steps.demo import build_demo
from gridmap.errors import InputRefused

USUAL_PORT = 8765


def listening(host: str, port: int) -> socket.socket:
    """Return a socket that listens; another port is never taken unasked, since a phone would not find it."""
    taken = socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET, socket.SOCK_STREAM)
    taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        taken.bind((host, port))
    except OSError as error:
        taken.close()
        raise InputRefused(
            f"port {port} can't be used", str(error.strerror).lower(), "say --port NUMBER, 0 for any that is free"
        ) from None
    return taken


def serve_here(
    grove: Path | None, *, demo: bool, port: int, say: Callable[[str], None], groves: tuple[Path, ...] = ()
) -> None:
    """Answer on this machine alone, until it is stopped.

    Parameters
    ----------
    grove : Path, optional
        Grove file; where none is yet, the page makes one there.
    demo : bool
        Make the invented grove in a temporary folder and answer for it.
    port : int
        0 for any that is free.
    say : function
        Gets the one line that says where.
    groves : tuple of Path
        Further groves to answer for.
    """
    with contextlib.ExitStack() as stack:
        if demo:
            folder = stack.enter_context(tempfile.TemporaryDirectory(prefix="gridmap-demo-"))
            path = Path(folder) / "demo.gpkg"
            build_demo(path)
            groves = (*groves, path)
        if grove is not None and grove.exists():
            groves = (*groves, grove)
        new = grove if grove is not None and not grove.exists() else None
        app = create_app(Settings(groves=groves, new_grove=new))
        taken = stack.enter_context(contextlib.closing(listening("127.0.0.1", port)))
        what = "the invented demo grove" if demo else grove.name if grove else "grove"
        say(f"http://127.0.0.1:{taken.getsockname()[1]}/ answers for {what}, on this machine alone. Stop with Ctrl+C.")
        run(app, taken)


def run(app: object, taken: socket.socket, **more: object) -> None:
    """Run until it is stopped; what went wrong goes to the log, who asked what does not."""
    logging.getLogger("gridmap").addHandler(logging.StreamHandler())
    config = uvicorn.Config(
        app,  # type: ignore[arg-type]
        log_level="warning",
        access_log=False,
        server_header=False,
        date_header=True,
        proxy_headers=False,
        timeout_graceful_shutdown=10,
        **more,  # type: ignore[arg-type]
    )
    uvicorn.Server(config).run(sockets=[taken])
