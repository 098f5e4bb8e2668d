"""What can go wrong, said so that the grower can mend it.

The tree::

    GridmapError
    ├── InputRefused        something given can't be used (and nothing was changed)
    │   ├── OutlineRefused  an outline or a keep-out: crossing itself, overlapping, too many corners
    │   ├── CRSRefused      coordinates without a CRS, swapped, or far from the grove
    │   ├── FileRefused     a file that is empty, cut off, too large or of another format
    │   └── RowsRefused     a table with bad lines, each told by its line number
    ├── InputMissing        something only the grower knows was not given (nothing is ever assumed)
    └── GroveFileError      the grove file itself
        ├── NotAGroveFile   no GeoPackage, or not one of ours
        ├── NewerGroveFile  written by a newer gridmap
        ├── GroveReadOnly   the file or its folder can't be written
        └── GroveBusy       another program kept the file locked

Doors turn these into an exit status or an HTTP status; nothing inside chooses one.
"""

from __future__ import annotations

from collections.abc import Sequence


class GridmapError(Exception):
    """Trouble that the grower can understand and mend.

    Parameters
    ----------
    what : str
        What is wrong, as a sentence without its full stop, with the value that was given.
    rule : str, optional
        The rule that it breaks.
    remedy : str, optional
        What to do about it.

    Examples
    --------
    >>> print(GridmapError("row spacing is -4 m", "it must be over 0 m", "type the distance between two rows"))
    Row spacing is -4 m: it must be over 0 m. Type the distance between two rows.
    """

    def __init__(self, what: str, rule: str | None = None, remedy: str | None = None) -> None:
        self.what = what
        self.rule = rule
        self.remedy = remedy
        super().__init__(self._sentence())

    def _sentence(self) -> str:
        text = _capital(self.what)
        if self.rule:
            text += f": {self.rule}"
        text += "."
        if self.remedy:
            text += f" {_capital(self.remedy)}."
        return text


class InputRefused(GridmapError):
    """Something given can't be used; nothing was changed."""


class OutlineRefused(InputRefused):
    """An outline or a keep-out can't be used; ``mended`` holds a shape that could be, which is never taken unasked."""

    def __init__(self, what: str, rule: str | None = None, remedy: str | None = None, mended: object = None) -> None:
        super().__init__(what, rule, remedy)
        self.mended = mended


class CRSRefused(InputRefused):
    """Coordinates have no CRS, are swapped, or lie far from the grove."""


class FileRefused(InputRefused):
    """A file is empty, cut off, too large or not of the format it should be."""


class RowsRefused(InputRefused):
    """Some lines of a table can't be used.

    Parameters
    ----------
    what, rule, remedy : str
        As in `GridmapError`.
    problems : sequence of (int, str)
        Line number in the file (the header is line 1) and what is wrong with it, in the order of the file.
    """

    def __init__(
        self, what: str, rule: str | None = None, remedy: str | None = None, problems: Sequence[tuple[int, str]] = ()
    ) -> None:
        super().__init__(what, rule, remedy)
        self.problems = list(problems)


class InputMissing(GridmapError):
    """Something that only the grower knows was not given. ``missing`` names each thing, in words."""

    def __init__(
        self, what: str, rule: str | None = None, remedy: str | None = None, missing: Sequence[str] = ()
    ) -> None:
        super().__init__(what, rule, remedy)
        self.missing = list(missing)


class GroveFileError(GridmapError):
    """The grove file can't be used as asked."""


class NotAGroveFile(GroveFileError):
    """The file is no GeoPackage, or not one that holds a grove."""


class NewerGroveFile(GroveFileError):
    """The file was written by a newer gridmap than this one."""


class GroveReadOnly(GroveFileError):
    """The grove file, or the folder it is in, can't be written."""


class GroveBusy(GroveFileError):
    """Another program kept the grove file locked for too long."""


def _capital(text: str) -> str:
    """Start with a capital letter, leaving the rest as it is; a closing full stop is taken off."""
    text = text.strip().removesuffix(".")
    first = text.split(maxsplit=1)[0] if text else ""
    # A name of a file or a column stays as it is written
    return text if any(mark in first for mark in "._/\\") else text[:1].upper() + text[1:]
