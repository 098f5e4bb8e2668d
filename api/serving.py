"""Run the service: on this machine alone, or shared on the local network over https."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import socket
import tempfile
from collections.abc import Callable
from pathlib import Path

import uvicorn

from api.announcing import announced
from api.app import create_app
from api.settings import Settings
from api.sharing import addresses, config_folder, identity, local_name
from api.sharing_words import invitation, trust
from api.steps.demo import build_demo
from api.steps.devices import invite
from gridmap.errors import InputRefused


def listening(host: str, port: int) -> socket.socket:
    """Return a socket that listens; another port is never taken unasked, since a phone would not find it."""
    # With the protocol named, asyncio sends small answers at once; else each waits 40 ms for the one before
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    taken = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
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
    grove: Path | None, *, demo: bool, port: int, say: Callable[[str], None], database: str | None = None
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
    database : str, optional
        Address of a shared database, whose groves are seen by who holds a token for them.
    """
    with contextlib.ExitStack() as stack:
        groves: tuple[Path, ...] = (_demo(stack),) if demo else ()
        if grove is not None and grove.exists():
            groves = (*groves, grove)
        new = grove if grove is not None and not grove.exists() else None
        app = create_app(Settings(groves=groves, new_grove=new, database=database))
        taken = stack.enter_context(contextlib.closing(listening("127.0.0.1", port)))
        what = "the invented demo grove" if demo else grove.name if grove else "the groves of the database"
        say(f"http://127.0.0.1:{taken.getsockname()[1]}/ answers for {what}, on this machine alone. Stop with Ctrl+C.")
        with contextlib.suppress(KeyboardInterrupt):
            _server(app).run(sockets=[taken])


def serve_shared(
    grove: Path | None, *, demo: bool, port: int, role: str, say: Callable[[str], None], database: str | None = None
) -> None:
    """Answer on this machine, and over https on the local network to devices that were let in.

    Parameters
    ----------
    grove, demo, port, say
        As in `serve_here`; devices reach the port after it.
    role : {"owner", "helper", "viewer"}
        What the first device may do.
    database : str, optional
        As in `serve_here`.
    """
    here = addresses()
    if not here:
        raise InputRefused("this machine is on no local network", None, "join one, then share the grove")
    called = local_name()
    with contextlib.ExitStack() as stack:
        where = _demo(stack) if demo else grove
        if database is None and (where is None or not where.exists()):
            raise InputRefused("there is no grove to share yet", None, "start one first: gridmap serve, or gridmap new")
        shown = identity(config_folder(), called, [*here, "127.0.0.1"])
        own = stack.enter_context(contextlib.closing(listening("127.0.0.1", port)))
        own_port = own.getsockname()[1]
        out = stack.enter_context(contextlib.closing(listening("0.0.0.0", own_port + 1 if port else 0)))
        out_port = out.getsockname()[1]
        found = stack.enter_context(announced(called, here, out_port))
        address = f"https://{called if found else here[0]}:{out_port}/"
        hosts = (*Settings().hosts, called, *here)
        app = create_app(
            Settings(
                groves=() if where is None else (where,),
                database=database,
                shared=True,
                hosts=hosts,
                address=address,
                authority=shown.authority,
            )
        )
        say(f"http://127.0.0.1:{own_port}/ answers here; {address} answers to devices that are let in. Stop: Ctrl+C.")
        say(trust(address, shown.fingerprint))
        if where is not None:
            say(invitation(address, invite(where, role), role))
        secure = {"ssl_certfile": str(shown.certificate), "ssl_keyfile": str(shown.key)}
        both(_server(app), own, _server(app, **secure), out)


def _demo(stack: contextlib.ExitStack) -> Path:
    """Make the invented grove in a folder that is gone when the service stops."""
    folder = stack.enter_context(tempfile.TemporaryDirectory(prefix="gridmap-demo-"))
    path = Path(folder) / "demo.gpkg"
    build_demo(path)
    return path


def both(first: uvicorn.Server, here: socket.socket, second: uvicorn.Server, out: socket.socket) -> None:
    """Run two servers until one is stopped, then stop the other."""

    async def until_stopped() -> None:
        async def watched(server: uvicorn.Server, other: uvicorn.Server, taken: socket.socket) -> None:
            try:
                await server.serve(sockets=[taken])
            finally:
                other.should_exit = True

        await asyncio.gather(watched(first, second, here), watched(second, first, out))

    with contextlib.suppress(KeyboardInterrupt):
        asyncio.run(until_stopped())


def _server(app: object, **more: object) -> uvicorn.Server:
    """Make a server; what went wrong goes to the log, who asked what does not."""
    logger = logging.getLogger("gridmap")
    if not logger.handlers:
        logger.addHandler(logging.StreamHandler())
    config = uvicorn.Config(
        app,  # type: ignore[arg-type]
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        timeout_graceful_shutdown=10,
        **more,  # type: ignore[arg-type]
    )
    return uvicorn.Server(config)
