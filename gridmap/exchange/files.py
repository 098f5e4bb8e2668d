"""What every reader does first: is the file there, of a size and a kind that can be read."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Final, NoReturn

from gridmap.errors import FileRefused

MOST_LAYER_BYTES: Final = 100 * 1024 * 1024
MOST_TABLE_BYTES: Final = 20 * 1024 * 1024
MOST_ROWS: Final = 200_000

SQLITE: Final = b"SQLite format 3\x00"
# File signatures that growers hand in by mistake, and what to do about them.
_KNOWN: Final = {
    b"PK\x03\x04": ("a spreadsheet or another zip archive", "save the sheet as CSV (UTF-8), or unpack it"),
    b"\xd0\xcf\x11\xe0": ("an old spreadsheet", "save the sheet as CSV (UTF-8)"),
    b"%PDF": ("a PDF", "ask for the data behind it"),
    b"\x89PNG": ("a picture", "ask for the data behind it"),
    b"\xff\xd8\xff": ("a picture", "ask for the data behind it"),
    b"\x1f\x8b": ("a packed file", "unpack it first"),
}


def read_bytes(path: str | Path, *, most_bytes: int) -> bytes:
    """Read a whole file within a size limit, or say why it can't be read.

    Parameters
    ----------
    path : path
        The file.
    most_bytes : int
        What is larger is refused unread.

    Raises
    ------
    FileRefused
        Not there, a folder, empty, too large, not allowed to be read.

    Examples
    --------
    >>> read_bytes("nowhere.csv", most_bytes=10)
    Traceback (most recent call last):
    gridmap.errors.FileRefused: File nowhere.csv is not there: it must be a file. Check its name and folder.
    """
    path = Path(path)
    check_file(path, most_bytes=most_bytes)
    try:
        return path.read_bytes()
    except OSError as trouble:
        raise FileRefused(f"file {path.name} can't be read", str(trouble.strerror)) from None


def check_file(path: Path, *, most_bytes: int) -> None:
    """Refuse what is no file, empty or too large, before it is opened."""
    if not path.is_file():
        state = "is a folder" if path.is_dir() else "is not there"
        raise FileRefused(f"file {path.name} {state}", "it must be a file", "check its name and folder")
    size = path.stat().st_size
    if size == 0:
        raise FileRefused(f"file {path.name} is empty", "it has no bytes at all", "export it again")
    if size > most_bytes:
        rule = f"at most {most_bytes / 2**20:,.0f} MB are read"
        raise FileRefused(f"file {path.name} has {size / 2**20:,.0f} MB", rule, "cut out what belongs to the grove")


def start_of(path: Path) -> bytes:
    """Return the first bytes of a file, which tell what it is."""
    with path.open("rb") as file:
        return file.read(512)


def refuse_known(start: bytes, name: str, wanted: str) -> None:
    """Refuse a file of a well-known other kind by its name."""
    for signature, (kind, remedy) in _KNOWN.items():
        if start.startswith(signature):
            raise FileRefused(f"file {name} is {kind}", f"it must be {wanted}", remedy)
    if start.startswith(SQLITE) and wanted.startswith("CSV"):
        raise FileRefused(f"file {name} is a database", f"it must be {wanted}", "export the table as CSV")


def text_of(content: bytes, name: str, wanted: str) -> str:
    """Decode a text file: UTF-8 with or without a byte order mark, or UTF-16 with one."""
    refuse_known(content, name, wanted)
    encoding = "utf-16" if content.startswith((b"\xff\xfe", b"\xfe\xff")) else "utf-8-sig"
    try:
        text = content.decode(encoding)
    except UnicodeDecodeError as trouble:
        line = content[: trouble.start].count(b"\n") + 1
        rule = f"byte {trouble.start + 1} in line {line} is no {encoding.removesuffix('-sig').upper()}"
        raise FileRefused(f"file {name} is not plain text", rule, "save it with the encoding UTF-8") from None
    if "\x00" in text:
        raise FileRefused(f"file {name} is not plain text", f"it must be {wanted}", "export it again")
    return text


def json_of(text: str, name: str) -> Any:
    """Parse JSON strictly: cut off, nested without end or with NaN is refused."""
    try:
        return json.loads(text, parse_constant=lambda word: _no_constant(word, name))
    except json.JSONDecodeError as trouble:
        cut_off = not text[trouble.pos :].strip()
        state = "is cut off" if cut_off else "is no JSON"
        rule = f"line {trouble.lineno}, column {trouble.colno}: {trouble.msg.lower()}"
        raise FileRefused(f"file {name} {state}", rule, "export it again") from None
    except RecursionError:
        raise FileRefused(f"file {name} is nested without end", "no map is", "export it again") from None


def _no_constant(word: str, name: str) -> NoReturn:
    raise FileRefused(f"file {name} holds the number {word}", "JSON has no such number", "export it again")
