"""How the command line speaks: tables, sentences, cautions, progress, and the one line that says what is wrong."""

from __future__ import annotations

import functools
import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import typer

from gridmap.errors import GridmapError

if TYPE_CHECKING:
    import pandas as pd

    from api.steps.outcome import Outcome

SHOWN_PROBLEMS = 20


def outcome(result: Outcome, *, as_json: bool = False) -> None:
    """Print what a step answered, for a person or as JSON."""
    if as_json:
        typer.echo(json.dumps(result.as_json(), ensure_ascii=False, indent=2))
        return
    for sentence in result.said:
        typer.echo(sentence)
    for title, frame in result.tables.items():
        typer.echo(f"\n{title}")
        typer.echo(table(frame))
    if result.cautions:
        typer.echo("")
        for caution in result.cautions:
            typer.echo(f"! {caution}")


def table(frame: pd.DataFrame) -> str:
    """Set a frame as text: words to the left, numbers to the right, a dash where there is nothing.

    Examples
    --------
    >>> import pandas as pd
    >>> print(table(pd.DataFrame({"block": ["Top", "Low"], "trees": [12, 340]})))
      block  trees
      Top       12
      Low      340
    """
    import pandas as pd

    if frame.empty:
        return "  nothing"
    columns = []
    for name in frame.columns:
        numeric = pd.api.types.is_numeric_dtype(frame[name]) and not pd.api.types.is_bool_dtype(frame[name])
        cells = _numbers(frame[name]) if numeric else [_cell(value) for value in frame[name]]
        width = max(len(str(name)), *(len(cell) for cell in cells))
        adjust = str.rjust if numeric else str.ljust
        columns.append([adjust(text, width) for text in (str(name), *cells)])
    return "\n".join(("  " + "  ".join(row)).rstrip() for row in zip(*columns, strict=True))


def _numbers(values: pd.Series[Any]) -> list[str]:
    """Write a column of numbers with the decimals that its values need, four at most and the same for all."""
    known = [float(value) for value in values.dropna()]
    decimals = next((n for n in range(4) if all(abs(round(value, n) - value) < 1e-9 for value in known)), 4)
    return ["-" if value != value else f"{value:,.{decimals}f}" for value in values.astype(float)]


def _cell(value: Any) -> str:
    """Write one word of a table."""
    import pandas as pd

    if isinstance(value, bool):
        return "yes" if value else "no"
    if value is None or (not isinstance(value, (list, tuple, str)) and pd.isna(value)):
        return "-"
    return str(value)


@contextmanager
def progress(sentence: str) -> Iterator[None]:
    """Say on a terminal what is being worked out, and take it away again; say nothing into a file or a pipe."""
    shown = sys.stderr.isatty()
    if shown:
        sys.stderr.write(f"{sentence} …")
        sys.stderr.flush()
    try:
        yield
    finally:
        if shown:
            sys.stderr.write("\r\x1b[K")
            sys.stderr.flush()


def door(command: Callable[..., None]) -> Callable[..., None]:
    """Let a command answer bad input with one clear line on standard error and exit status 1."""

    @functools.wraps(command)
    def guarded(*args: Any, **kwargs: Any) -> None:
        try:
            command(*args, **kwargs)
        except GridmapError as error:
            complain(error)
            raise typer.Exit(1) from None

    return guarded


def complain(error: GridmapError) -> None:
    """Write what is wrong to standard error: one line, and below it the bad lines of a table or what is missing."""
    typer.echo(f"gridmap: {error}", err=True)
    problems: list[tuple[int, str]] = getattr(error, "problems", [])
    for line, problem in problems[:SHOWN_PROBLEMS]:
        typer.echo(f"  line {line}: {problem}", err=True)
    if len(problems) > SHOWN_PROBLEMS:
        typer.echo(f"  and {len(problems) - SHOWN_PROBLEMS} more", err=True)
    for thing in getattr(error, "missing", []):
        typer.echo(f"  missing: {thing}", err=True)
