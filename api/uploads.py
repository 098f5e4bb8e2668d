"""Uploaded files: copied under a name of our own into a folder that lives as long as the request, within limits."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from fastapi import UploadFile

from api.settings import MIB
from api.steps.refusals import TooLarge

_CHUNK: Final = MIB
#: Endings that the readers tell formats apart by; any other is read as if it had none.
_ENDINGS: Final = (
    ".shp.zip",
    ".geojson",
    ".json",
    ".gpkg",
    ".kml",
    ".kmz",
    ".gpx",
    ".zip",
    ".csv",
    ".txt",
    ".tif",
    ".tiff",
)


@contextmanager
def received(upload: UploadFile, *, most_bytes: int) -> Iterator[Path]:
    """Give an uploaded file as a file of our own.

    Parameters
    ----------
    upload : UploadFile
        As it came; of its name only a known ending, and plain letters for messages, are taken.
    most_bytes : int
        What is larger is refused.

    Raises
    ------
    TooLarge
        It has more bytes.
    """
    with tempfile.TemporaryDirectory(prefix="gridmap-") as folder:
        path = Path(folder) / safe_name(upload.filename or "")
        size = 0
        with path.open("wb") as file:
            while chunk := upload.file.read(_CHUNK):
                size += len(chunk)
                if size > most_bytes:
                    raise TooLarge(
                        f"the file has over {most_bytes / MIB:,.0f} MB",
                        f"at most {most_bytes / MIB:,.0f} MB are read",
                        "cut out what belongs to the grove",
                    )
                file.write(chunk)
        yield path


def safe_name(given: str) -> str:
    """Return a name of our own: plain letters of the given one and a known ending; never a path.

    Examples
    --------
    >>> safe_name("../../etc/My blocks.GeoJSON")
    'My blocks.geojson'
    >>> safe_name("")
    'upload'
    """
    last = re.split(r"[/\\]", given)[-1]
    ending = next((known for known in _ENDINGS if last.lower().endswith(known)), "")
    stem = re.sub(r"[^\w -]", "", last[: len(last) - len(ending)], flags=re.ASCII).strip(" -")[:60]
    return f"{stem or 'upload'}{ending}"
