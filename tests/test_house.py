"""The rules of the house (DEVELOPERS.md), held by reading the source: arrows between rooms, circles, size, docstrings.

No published example: these are the project's own rules. Each rule is a function from a folder to a list of complaints;
the second half of the file plants a breach of each and sees it caught.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGES = ("gridmap", "maps", "api", "data")
ROOMS = {f"gridmap.{room}" for room in ("ground", "pressure", "walk", "treatment", "sward", "season", "exchange")}

# What each room may import besides itself. "gridmap" and "api" stand for the modules that lie in no room of theirs
# (errors, checks, units; cli, show). A new room is entered here, and drawn in DEVELOPERS.md.
MAY_IMPORT: dict[str, set[str]] = {
    "gridmap": set(),
    "gridmap.ground": {"gridmap"},
    "gridmap.pressure": {"gridmap"},
    "gridmap.walk": {"gridmap", "gridmap.ground", "gridmap.pressure"},
    "gridmap.treatment": {"gridmap", "gridmap.ground", "gridmap.pressure"},
    "gridmap.sward": {"gridmap", "gridmap.ground"},
    "gridmap.season": {"gridmap"},
    "gridmap.exchange": {"gridmap"},
    "maps": {"gridmap", *ROOMS},
    # The demo plants one block along a line; the planting has one home.
    "data": {"gridmap.ground"},
    "api.store": {"gridmap"},
    "api.steps": {"api.store", "maps", "data", "gridmap", *ROOMS},
    "api.commands": {"api", "api.steps", "gridmap"},
    "api.routes": {"api", "api.steps", "api.models", "gridmap"},
    "api.models": {"gridmap"},
    "api": {"api.commands", "api.routes", "api.models", "api.steps", "gridmap"},
}
# gridmap opens no database, no socket and no page; maps no database and no socket. GDAL carries an SQLite of its own,
# whose closing of a file drops the locks that the store holds on it, so the store never opens one through GDAL.
NETWORK = {"socket", "ssl", "http", "urllib", "requests", "httpx", "aiohttp", "asyncio", "socketserver"}
DATABASE = {"sqlite3", "sqlalchemy", "geoalchemy2", "psycopg"}
NOT_FROM_OUTSIDE: dict[str, set[str]] = {
    "gridmap": NETWORK | DATABASE | {"typer", "fastapi", "starlette", "folium", "branca", "typst", "webbrowser"},
    "maps": NETWORK | DATABASE | {"typer", "fastapi", "starlette"},
    "api.store": {"pyogrio", "fiona", "osgeo", "rasterio"},
}
MOST_LINES = 350
# Modules over MOST_LINES, each with its reason.
LONG: dict[str, str] = {"data.demo.make_demo": "the whole making of the demo can be read in one place"}


def modules(root: Path) -> dict[str, Path]:
    """Find every Python module of the four packages, by its dotted name."""
    found = {}
    for package in PACKAGES:
        for path in sorted((root / package).rglob("*.py")):
            parts = path.relative_to(root).with_suffix("").parts
            if not {"lib", "node_modules", "__pycache__"} & set(parts):
                found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


def room_of(module: str, files: dict[str, Path]) -> str:
    """Name the room a module lies in: its sub-package in gridmap and api, else its package."""
    package, *rest = module.split(".")
    is_folder = bool(rest) and (len(rest) > 1 or files[module].name == "__init__.py")
    return f"{package}.{rest[0]}" if package in ("gridmap", "api") and is_folder else package


def imported(module: str, path: Path) -> Iterator[tuple[str, int, bool]]:
    """Yield what a module imports, late imports too: full dotted name, line, whether for types only."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for_types = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test)
        for branch in node.body
        for inner in ast.walk(branch)
    }
    package = module if path.name == "__init__.py" else module.rpartition(".")[0]
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((alias.name, node.lineno, id(node) in for_types) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            parents = package.split(".")[: len(package.split(".")) - node.level + 1] if node.level else []
            base = ".".join([*parents, *([node.module] if node.module else [])])
            yield from ((f"{base}.{alias.name}", node.lineno, id(node) in for_types) for alias in node.names)


def inside(name: str, files: dict[str, Path]) -> str | None:
    """Find the module of the house that an imported name lies in; None for a name from outside."""
    while name and name not in files:
        name = name.rpartition(".")[0]
    return name or None


def wrong_arrows(root: Path) -> list[str]:
    """List imports from a room that the importing room may not know."""
    files, wrong = modules(root), []
    for module, path in files.items():
        room = room_of(module, files)
        if room not in MAY_IMPORT:
            wrong.append(f"{module}: room {room} is not in MAY_IMPORT")
            continue
        for name, line, _ in imported(module, path):
            target = inside(name, files)
            if target is None and name.split(".")[0] in PACKAGES:
                wrong.append(f"{module}:{line} imports {name}, which is not there")
            elif target is not None:
                other = room_of(target, files)
                if other != room and other not in MAY_IMPORT[room]:
                    wrong.append(f"{module}:{line} ({room}) imports {target} ({other})")
    return wrong


def wrong_outsiders(root: Path) -> list[str]:
    """List imports of a library that the room has no business with."""
    files = modules(root)
    return [
        f"{module}:{line} imports {name}"
        for module, path in files.items()
        for name, line, _ in imported(module, path)
        for room, barred in NOT_FROM_OUTSIDE.items()
        if (module == room or module.startswith(f"{room}.")) and name.split(".")[0] in barred
    ]


def circles(root: Path) -> list[str]:
    """List modules that import each other in a circle, late imports included, imports for types left out."""
    files = modules(root)
    arrows = {
        module: {
            target
            for name, _, for_types in imported(module, path)
            if not for_types and (target := inside(name, files)) not in (None, module)
        }
        for module, path in files.items()
    }
    found: set[str] = set()
    done: set[str] = set()

    def follow(module: str, trail: tuple[str, ...]) -> None:
        if module in trail:
            circle = trail[trail.index(module) :]
            first = circle.index(min(circle))
            found.add(" -> ".join([*circle[first:], *circle[:first], circle[first]]))
        elif module not in done:
            for target in sorted(arrows[module]):
                follow(target, (*trail, module))
            done.add(module)

    for module in sorted(arrows):
        follow(module, ())
    return sorted(found)


def too_long(root: Path) -> list[str]:
    """List modules over the limit without a reason, and reasons for modules that are short again or gone."""
    lines = {module: len(path.read_text(encoding="utf-8").splitlines()) for module, path in modules(root).items()}
    wrong = [f"{module}: {count} lines" for module, count in lines.items() if count > MOST_LINES and module not in LONG]
    return wrong + [f"{module}: listed as long, but isn't" for module in LONG if lines.get(module, 0) <= MOST_LINES]


def without_docstring(root: Path) -> list[str]:
    """List modules, and public functions, classes and methods, that don't say what they tell the grower."""
    wrong = []

    def look(node: ast.Module | ast.ClassDef, name: str) -> None:
        for child in node.body:
            if isinstance(child, (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)) and child.name[0] != "_":
                if not ast.get_docstring(child) and not is_setter_or_overload(child):
                    wrong.append(f"{name}.{child.name}:{child.lineno}")
                if isinstance(child, ast.ClassDef):
                    look(child, f"{name}.{child.name}")

    for module, path in modules(root).items():
        tree = ast.parse(path.read_text(encoding="utf-8"))
        if tree.body and not ast.get_docstring(tree):
            wrong.append(module)
        look(tree, module)
    return wrong


def is_setter_or_overload(node: ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef) -> bool:
    """Tell whether the docstring stands elsewhere: at the property, or at the function that the overloads describe."""
    words = {getattr(mark, "attr", getattr(mark, "id", "")) for mark in node.decorator_list}
    return bool(words & {"setter", "deleter", "overload"})


def asserts(root: Path) -> list[str]:
    """List assert statements, which vanish under -O and show the grower a traceback."""
    return [
        f"{module}:{node.lineno}"
        for module, path in modules(root).items()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Assert)
    ]


RULES = [wrong_arrows, wrong_outsiders, circles, too_long, without_docstring, asserts]


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__)
def test_the_house_keeps_its_rule(rule: Callable[[Path], list[str]]):
    assert rule(ROOT) == []


def test_the_rules_read_the_whole_house():
    files = modules(ROOT)
    assert {"gridmap", "gridmap.errors", "gridmap.checks", "maps", "api", "data", "data.demo.make_demo"} <= set(files)
    names = {name for name, *_ in imported("gridmap.checks", files["gridmap.checks"])}
    assert "gridmap.errors.InputRefused" in names


def test_no_arrow_in_the_table_points_both_ways():
    """Within gridmap and between packages the table itself may hold no pair that knows each other."""
    pairs = [
        (room, other)
        for room, known in MAY_IMPORT.items()
        for other in known
        if room in MAY_IMPORT.get(other, set()) and "api" not in (room, other)
    ]
    assert pairs == []
    assert not any(known & {"maps", "api", "data"} for room, known in MAY_IMPORT.items() if room.startswith("gridmap"))


def plant(root: Path, files: dict[str, str]) -> Path:
    """Build a small house that keeps every rule, then lay the given files over it."""
    house = {f"{room.replace('.', '/')}/__init__.py": '"""Room."""\n' for room in MAY_IMPORT}
    house["gridmap/errors.py"] = '"""Errors."""\n\n\nclass Trouble(Exception):\n    """Trouble."""\n'
    for name, text in {**house, **files}.items():
        path = root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return root


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__)
def test_a_sound_house_has_no_complaint(tmp_path, monkeypatch, rule):
    monkeypatch.setitem(globals(), "LONG", {})
    sound = {
        "gridmap/ground/rows.py": '"""Rows."""\nfrom gridmap.errors import Trouble\nfrom .. import errors\n',
        "gridmap/treatment/runs.py": '"""Runs."""\nfrom gridmap import errors, pressure\nimport gridmap.ground.rows\n',
        "api/steps/zone.py": '"""Zone."""\nimport data\nimport maps\nfrom api.store import open_grove\n',
        "api/show.py": '"""Show."""\nfrom typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    import api.steps.zone\n',
    }
    assert rule(plant(tmp_path, sound)) == []


@pytest.mark.parametrize(
    ("rule", "name", "text", "complaint"),
    [
        (wrong_arrows, "gridmap/ground/a.py", "import maps", r"\(gridmap.ground\) imports maps"),
        (wrong_arrows, "gridmap/ground/a.py", "from maps import plan", r"\(gridmap.ground\) imports maps"),
        (wrong_arrows, "gridmap/a.py", "def f():\n    from api.store import engine", r"\(gridmap\) imports api.store"),
        (wrong_arrows, "gridmap/a.py", "from data import path", r"\(gridmap\) imports data"),
        (wrong_arrows, "gridmap/a.py", "from gridmap.ground import rows", r"\(gridmap\) imports gridmap.ground"),
        (wrong_arrows, "gridmap/ground/a.py", "from gridmap import pressure", "imports gridmap.pressure"),
        (wrong_arrows, "gridmap/ground/a.py", "from ..pressure import model", "imports gridmap.pressure"),
        (wrong_arrows, "gridmap/ground/a.py", "from .. import pressure", "imports gridmap.pressure"),
        (wrong_arrows, "gridmap/pressure/a.py", "import gridmap.treatment", "imports gridmap.treatment"),
        (wrong_arrows, "gridmap/treatment/a.py", "import gridmap.walk", "imports gridmap.walk"),
        (wrong_arrows, "gridmap/exchange/a.py", "import gridmap.ground", "imports gridmap.ground"),
        (wrong_arrows, "maps/a.py", "from api import steps", "imports api.steps"),
        (wrong_arrows, "api/store/a.py", "import api.steps", "imports api.steps"),
        (wrong_arrows, "api/commands/a.py", "from api.store import engine", "imports api.store"),
        (wrong_arrows, "api/commands/a.py", "import gridmap.pressure", "imports gridmap.pressure"),
        (wrong_arrows, "gridmap/cellar/__init__.py", "", "gridmap.cellar is not in MAY_IMPORT"),
        (wrong_outsiders, "gridmap/exchange/a.py", "import sqlite3", "imports sqlite3"),
        (wrong_outsiders, "gridmap/a.py", "from urllib.request import urlopen", "imports urllib"),
        (wrong_outsiders, "api/store/a.py", "import pyogrio", "imports pyogrio"),
        (circles, "gridmap/ground/__init__.py", "from gridmap.ground.a import b", "gridmap.ground -> gridmap.ground.a"),
        (too_long, "gridmap/a.py", "\n" * MOST_LINES, f"gridmap.a: {MOST_LINES + 2} lines"),
        (without_docstring, "gridmap/a.py", "def tell():\n    return 1", "gridmap.a.tell"),
        (without_docstring, "gridmap/a.py", 'class A:\n    """A."""\n    def tell(self): ...', "gridmap.a.A.tell"),
        (asserts, "gridmap/a.py", "assert 1", "gridmap.a:2"),
    ],
)
def test_a_breach_is_caught(tmp_path, monkeypatch, rule, name, text, complaint):
    monkeypatch.setitem(globals(), "LONG", {})
    planted = {"gridmap/ground/a.py": '"""A."""\nfrom gridmap import ground\n'} if rule is circles else {}
    (found,) = rule(plant(tmp_path, {**planted, name: f'"""A."""\n{text}\n'}))
    assert re.search(complaint, found)


def test_a_module_without_docstring_is_caught(tmp_path):
    assert without_docstring(plant(tmp_path, {"gridmap/a.py": "x = 1\n"})) == ["gridmap.a"]


def test_a_reason_for_a_module_that_is_short_again_is_caught(tmp_path, monkeypatch):
    monkeypatch.setitem(globals(), "LONG", {"gridmap.errors": "one tree of errors"})
    assert too_long(plant(tmp_path, {})) == ["gridmap.errors: listed as long, but isn't"]
