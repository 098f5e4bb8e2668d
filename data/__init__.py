"""The invented demo grove and the reference tables, and the one function that finds a file of theirs."""

from __future__ import annotations

from pathlib import Path


def path(*parts: str) -> Path:
    """Where a file that travels with gridmap lies on this machine.

    Parameters
    ----------
    *parts : str
        Folder and file names below ``data``.

    Raises
    ------
    FileNotFoundError
        When there is no such file.

    Examples
    --------
    >>> path("demo").is_dir()
    True
    """
    found = Path(__file__).parent.joinpath(*parts)
    if not found.exists():
        raise FileNotFoundError(f"gridmap carries no file {'/'.join(parts)}")
    return found
