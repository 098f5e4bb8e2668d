"""The page's own files, looked up in a list of what is there: a path that a client sends never touches the disk."""

from __future__ import annotations

import base64
import hashlib
import json
import mimetypes
import re
from pathlib import Path
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import Response

from api.access import At
from api.guard import policy
from api.steps.refusals import NotThere

router = APIRouter(tags=["page"], include_in_schema=False)

_ENDINGS: Final = {
    ".html", ".css", ".js", ".mjs", ".json", ".svg", ".png", ".webp", ".ico", ".woff2", ".webmanifest", ".map", ".txt",
}  # fmt: skip
_NOT: Final = ("package.json", "package-lock.json", "takeaway.css", "takeaway.js", "jsconfig.json", "tsconfig.json")
_TYPES: Final = {".js": "text/javascript", ".mjs": "text/javascript", ".webmanifest": "application/manifest+json"}
_IMPORT_MAP: Final = re.compile(rb'<script type="importmap">(.*?)</script>', re.DOTALL)


def files_of(page: Path) -> dict[str, Path]:
    """List the page's files by the path under which a browser asks for them."""
    found = {}
    for file in page.rglob("*"):
        parts = file.relative_to(page).parts
        hidden = any(part.startswith(".") or part == "node_modules" for part in parts)
        if (
            file.is_file()
            and not file.is_symlink()
            and not hidden
            and file.suffix in _ENDINGS
            and parts[-1] not in _NOT
        ):
            found["/".join(parts)] = file
    return found


@router.get("/authority.pem")
def authority(service: At) -> Response:
    """Hand out the certificate that devices on the network trust, where the grove is shared."""
    if service.settings.authority is None:
        raise NotThere("the grove is not shared", None, "start the service with --share")
    headers = {"Content-Disposition": 'attachment; filename="gridmap-authority.pem"', "Cache-Control": "no-store"}
    return Response(service.settings.authority.read_bytes(), 200, headers, "application/x-x509-ca-cert")


@router.get("/{path:path}")
@router.head("/{path:path}")
def page_file(request: Request, service: At, path: str) -> Response:
    """Hand out one of the page's files; the page itself for the bare address."""
    files = files_of(service.settings.page)
    file = files.get(path or "index.html")
    if file is None:
        raise NotThere("there is nothing at this address", None, "the page is at /")
    content = worker(files) if path == "sw.js" else file.read_bytes()
    etag = f'"{hashlib.sha256(content).hexdigest()[:24]}"'
    headers = {"ETag": etag, "Cache-Control": "no-cache"}
    if file.name == "index.html":
        headers["Content-Security-Policy"] = policy(import_map_hash(content))
    if path == "sw.js":
        headers["Service-Worker-Allowed"] = "/"
    if etag in [mark.strip().removeprefix("W/") for mark in request.headers.get("if-none-match", "").split(",")]:
        return Response(status_code=304, headers=headers)
    media_type = _TYPES.get(file.suffix) or mimetypes.guess_type(file.name)[0] or "application/octet-stream"
    return Response(content, 200, headers, media_type)


def worker(files: dict[str, Path]) -> bytes:
    """Return the service worker, told every file of the page and a version made from what is in them.

    Parameters
    ----------
    files : dict of str to Path
        The page's files by the path under which a browser asks for them, as `files_of` lists them.

    Returns
    -------
    bytes
        ``sw.js`` behind the list. A change of any file changes it, which is how a browser learns of a newer page.

    Examples
    --------
    >>> from api.settings import Settings
    >>> worker(files_of(Settings().page))[:26]
    b'self.SHELL = {"version": "'
    """
    shell = {f"/{name}": path for name, path in sorted(files.items()) if name not in ("sw.js", "index.html")}
    shell["/"] = files["index.html"]
    version = hashlib.sha256()
    for name, path in shell.items():
        version.update(f"{name} {hashlib.sha256(path.read_bytes()).hexdigest()}\n".encode())
    told = json.dumps({"version": version.hexdigest()[:16], "files": list(shell)})
    return f"self.SHELL = {told};\n".encode() + files["sw.js"].read_bytes()


def import_map_hash(page: bytes) -> str | None:
    """Return the hash by which the content security policy lets the page's import map in (CSP Level 3, section 2.3.1).

    Examples
    --------
    >>> import_map_hash(b"<html></html>") is None
    True
    >>> import_map_hash(b'<script type="importmap">{}</script>')[:13]
    'sha256-RBNvo1'
    """
    found = _IMPORT_MAP.search(page)
    if found is None:
        return None
    return f"sha256-{base64.b64encode(hashlib.sha256(found[1]).digest()).decode()}"
