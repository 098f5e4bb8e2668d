"""Zip archives in: looked through before anything is unpacked, and unpacked member by member into memory."""

from __future__ import annotations

import contextlib
import stat
import struct
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path, PurePosixPath
from typing import Final

from gridmap.errors import FileRefused

MOST_MEMBERS: Final = 200
MOST_UNPACKED_BYTES: Final = 200 * 2**20
#: Tables pad with blanks and pack well; what packs better than this was made to swell (common practice, no source).
MOST_RATIO: Final = 200
_RATIO_FROM_BYTES: Final = 2**20
_MOST_DIRECTORY_BYTES: Final = 2**20
_END: Final = b"PK\x05\x06"
_ARCHIVES: Final = (".zip", ".kmz", ".gz", ".7z", ".rar", ".tar", ".bz2", ".xz")
_REMEDY: Final = "zip only the files of one layer again"


class Archive:
    """The members of a zip archive that may be looked at, by their path in it."""

    def __init__(self, archive: zipfile.ZipFile, members: dict[str, zipfile.ZipInfo], name: str) -> None:
        self._archive = archive
        self._members = members
        self.name = name

    @property
    def names(self) -> list[str]:
        """Return the paths of the files in it."""
        return list(self._members)

    def read(self, member: str, *, most_bytes: int = MOST_UNPACKED_BYTES) -> bytes:
        """Unpack one member into memory, never more of it than the archive said or than ``most_bytes``."""
        info = self._members[member]
        if info.file_size > most_bytes:
            rule = f"at most {most_bytes / 2**20:g} MB of it are read"
            raise FileRefused(f"{member} in {self.name} has {info.file_size / 2**20:,.1f} MB", rule, _REMEDY)
        try:
            return self._archive.read(info)
        except (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError) as trouble:
            what = f"file {self.name} is damaged or cut off"
            raise FileRefused(what, f"{member}: {trouble}"[:200], "copy it again") from None


@contextlib.contextmanager
def open_zip(path: Path) -> Iterator[Archive]:
    """Open an archive that is no bomb and points nowhere outside itself.

    Parameters
    ----------
    path : path
        A file of a size that was checked.

    Raises
    ------
    FileRefused
        Damaged; over 200 members; unpacking to over 200 MB or over 200 times its size; a path that leads out, a link,
        a locked member, the same path twice, an archive inside.

    References
    ----------
    APPNOTE.TXT, .ZIP File Format Specification 6.3.10, sections 4.3.16 (end record) and 4.4.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with zipfile.ZipFile(Path(folder) / "a.zip", "w") as archive:
    ...         archive.writestr("../blocks.shp", b"")
    ...     with open_zip(Path(folder) / "a.zip") as opened:
    ...         pass
    Traceback (most recent call last):
    gridmap.errors.FileRefused: File a.zip has a member '../blocks.shp': its path leads out of the archive. Zip only the
    files of one layer again.
    """
    _check_directory(path)
    try:
        archive = zipfile.ZipFile(path)
    except (zipfile.BadZipFile, OSError, NotImplementedError, ValueError, struct.error) as trouble:
        raise FileRefused(f"file {path.name} is damaged or cut off", str(trouble)[:200], "copy it again") from None
    with archive:
        yield Archive(archive, _checked(archive, path), path.name)


def _check_directory(path: Path) -> None:
    """Refuse a list of members that is endless by itself, before it is read."""
    with path.open("rb") as file:
        file.seek(max(0, path.stat().st_size - 65_557))
        tail = file.read()
    place = tail.rfind(_END)
    if place < 0 or len(tail) < place + 22:
        rule = "the list of its members at its end is missing"
        raise FileRefused(f"file {path.name} is damaged or cut off", rule, "copy it again")
    members, size = struct.unpack("<HI", tail[place + 10 : place + 16])
    if members > MOST_MEMBERS or size > _MOST_DIRECTORY_BYTES:
        many = f"{members:,}" if members < 0xFFFF else "very many"
        raise FileRefused(f"file {path.name} holds {many} files", f"at most {MOST_MEMBERS} are looked at", _REMEDY)


def _checked(archive: zipfile.ZipFile, path: Path) -> dict[str, zipfile.ZipInfo]:
    """Look at every member's entry; return the files, without what a desktop adds for itself."""
    infos, name = archive.infolist(), path.name
    _check_sizes(infos, path)
    members: dict[str, zipfile.ZipInfo] = {}
    for info in infos:
        _check_member(info, name)
        if info.is_dir():
            continue
        if info.filename.casefold() in {known.casefold() for known in members}:
            raise FileRefused(f"file {name} holds {info.filename!r} twice", "nobody knows which is meant", _REMEDY)
        parts = PurePosixPath(info.filename).parts
        if not any(part.startswith(".") or part == "__MACOSX" for part in parts):
            members[info.filename] = info
    if any(member.startswith(("[Content_Types]", "mimetype")) for member in members):
        raise FileRefused(f"file {name} is a spreadsheet or a document", "it must hold a map", "save the sheet as CSV")
    inner = next((member for member in members if member.lower().endswith(_ARCHIVES)), None)
    if inner is not None:
        raise FileRefused(f"file {name} holds another archive, {inner}", "archives in archives are not opened", _REMEDY)
    return members


def _check_sizes(infos: list[zipfile.ZipInfo], path: Path) -> None:
    """Refuse a bomb by what its list of members says; a list that lies is caught by the length and sum of each."""
    name = path.name
    if len(infos) > MOST_MEMBERS:
        raise FileRefused(f"file {name} holds {len(infos):,} files", f"at most {MOST_MEMBERS} are looked at", _REMEDY)
    total = sum(info.file_size for info in infos)
    if total > MOST_UNPACKED_BYTES:
        rule = f"at most {MOST_UNPACKED_BYTES / 2**20:,.0f} MB are unpacked"
        raise FileRefused(f"file {name} unpacks to {total / 2**20:,.0f} MB", rule, _REMEDY)
    ratio = total / max(path.stat().st_size, 1)
    if total > _RATIO_FROM_BYTES and ratio > MOST_RATIO:
        rule = f"no map packs better than {MOST_RATIO} times"
        raise FileRefused(f"file {name} unpacks to {ratio:,.0f} times its size", rule, _REMEDY)


def _check_member(info: zipfile.ZipInfo, name: str) -> None:
    """Refuse a member that leads out of the archive or can't be opened."""
    # The name as it is written: zipfile turns the separators of some systems and cuts at a NUL.
    given = info.orig_filename
    path = PurePosixPath(given.replace("\\", "/"))
    shown = repr(given[:80])
    if path.is_absolute() or ".." in path.parts or ":" in given or "\x00" in given or "\\" in given:
        raise FileRefused(f"file {name} has a member {shown}", "its path leads out of the archive", _REMEDY)
    mode = info.external_attr >> 16
    if mode and stat.S_IFMT(mode) not in (0, stat.S_IFREG, stat.S_IFDIR):
        raise FileRefused(f"file {name} has a member {shown}", "it is a link and no file", _REMEDY)
    if info.flag_bits & 0x1:
        raise FileRefused(f"file {name} has a member {shown}", "it is locked by a password", "zip it without one")
    if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        rule = f"it is packed by method {info.compress_type}; stored and deflated are read"
        raise FileRefused(f"file {name} has a member {shown}", rule, _REMEDY)
