"""The page's code, read: types by the TypeScript checker, a linter, and no way for a name to become markup.

No published example: the project's own rules. A planted breach of each is seen by it.
"""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest

PAGE = Path(__file__).parents[2] / "maps" / "page"
# Ways in which a text can become markup or code (W3C Trusted Types lists them as injection sinks), and inline style,
# which the page's policy forbids.
SINKS = re.compile(
    r"\.(?:inner|outer)HTML\b|insertAdjacentHTML|document\.write|createContextualFragment|DOMParser|setHTMLUnsafe"
    r"|srcdoc|javascript:|setAttribute\(\s*[\"'](?:style|on\w+)[\"']|\bstyle:\s*[\"'`](?!currency|percent|unit|decimal)"
)


def types(node, tools: Path, page: Path, folder: Path) -> str:
    """Run the checker over the page's modules with the page's own settings; return its complaints."""
    libraries = tools / "node_modules"
    options = {
        "typeRoots": [str(libraries / "@types")],
        "paths": {"idb-keyval": [str(libraries / "idb-keyval" / "dist" / "index.d.ts")]},
    }
    settings = {"extends": str(page / "jsconfig.json"), "compilerOptions": options,
                "include": [str(page / "js" / "**" / "*.js"), str(page / "sw.js")]}  # fmt: skip
    (folder / "tsconfig.json").write_text(json.dumps(settings), "utf-8")
    return node(libraries / "typescript" / "bin" / "tsc", "-p", folder / "tsconfig.json").stdout


def lint(node, tools: Path, page: Path) -> str:
    """Run the linter; return its complaints, one a line."""
    program = tools / "node_modules" / "oxlint" / "bin" / "oxlint"
    files = [page / name for name in ("js", "sw.js", "takeaway.js") if (page / name).exists()]
    done = node(program, "-c", PAGE / ".oxlintrc.json", "-f", "unix", *files)
    return done.stdout if done.returncode else ""


def sinks(page: Path) -> list[str]:
    """List the lines of the page's own modules through which a text could become markup."""
    return [
        f"{path.relative_to(page)}:{number}: {found[0]}"
        for path in sorted((page / "js").rglob("*.js"))
        for number, line in enumerate(path.read_text("utf-8").splitlines(), 1)
        if (found := SINKS.search(line))
    ]


def test_types_are_sound(node, tools, page_files, tmp_path):
    assert types(node, tools, page_files, tmp_path) == ""


def test_the_linter_has_nothing_to_say(node, tools, page_files):
    assert lint(node, tools, page_files) == ""


def test_no_text_becomes_markup(page_files):
    assert sinks(page_files) == []


def test_every_module_asks_to_be_checked(page_files):
    modules = [*(page_files / "js").rglob("*.js"), page_files / "sw.js"]
    assert [path.name for path in modules if not path.read_text("utf-8").startswith("// @ts-check\n")] == []


@pytest.mark.parametrize(
    ("line", "complaint"),
    [
        ('/** @type {number} */ export const metres = "7";', "Type 'string' is not assignable to type 'number'"),
        ("export const found = L.mapp();", "Property 'mapp' does not exist"),
    ],
)
def test_a_wrong_type_is_caught(node, tools, page_files, tmp_path, line, complaint):
    (tmp_path / "page" / "js").mkdir(parents=True)
    shutil.copy(page_files / "jsconfig.json", tmp_path / "page")
    (tmp_path / "page" / "sw.js").write_text("", "utf-8")
    (tmp_path / "page" / "js" / "planted.js").write_text(f"// @ts-check\n{line}\n", "utf-8")
    assert complaint in types(node, tools, tmp_path / "page", tmp_path)


@pytest.mark.parametrize(
    ("line", "rule"),
    [("if (location == null) stop();", "eqeqeq"), ("const unused = 1;", "no-unused-vars"), ("alert(1);", "no-alert")],
)
def test_a_slip_is_caught_by_the_linter(node, tools, tmp_path, line, rule):
    (tmp_path / "js").mkdir()
    (tmp_path / "js" / "planted.js").write_text(f"{line}\n", "utf-8")
    assert rule in lint(node, tools, tmp_path)


@pytest.mark.parametrize(
    "line",
    ["box.innerHTML = name;", "box.insertAdjacentHTML('beforeend', name);", 'el("p", { style: "color: red" });',
     "box.setAttribute('onclick', name);", "frame.srcdoc = name;"],
)  # fmt: skip
def test_a_way_to_markup_is_caught(tmp_path, line):
    (tmp_path / "js").mkdir()
    (tmp_path / "js" / "planted.js").write_text(f"{line}\n", "utf-8")
    assert len(sinks(tmp_path)) == 1
