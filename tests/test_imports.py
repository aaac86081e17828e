"""The architecture as a table: a module imports exactly what its row allows, nothing else of ours."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent / "wearvision"
WORDS = {"errors", "quantity", "finding", "stated"}
SMALL = {"errors"}
ALLOWED: dict[str, set[str]] = {
    # words
    "errors": set(),
    "quantity": {"errors"},
    "finding": {"errors", "quantity"},
    "stated": {"errors"},
}
"""Module -> what it may import of ours. A folder name stands for every module in it."""


def module_name(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(p for p in parts if p != "__init__") or "__init__"


def imports_of(path: Path) -> set[str]:
    """Modules of ours that a file imports, also inside functions and under TYPE_CHECKING."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {
                a.name.removeprefix("wearvision.") for a in node.names if a.name.startswith("wearvision.")
            }
        elif (
            isinstance(node, ast.ImportFrom)
            and node.level == 0
            and (node.module or "").startswith("wearvision")
        ):
            base = (node.module or "").removeprefix("wearvision").removeprefix(".")
            names = [f"{base}.{a.name}".removeprefix(".") for a in node.names]
            found |= {n if is_module(n) else base or "__init__" for n in names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
    return found


def is_module(name: str) -> bool:
    path = ROOT / Path(*name.split("."))
    return path.with_suffix(".py").is_file() or (path / "__init__.py").is_file()


def allowed(row: set[str], target: str) -> bool:
    return any(target == a or target.startswith(a + ".") for a in row)


FILES = sorted(ROOT.rglob("*.py"))


@pytest.mark.parametrize("path", FILES, ids=[module_name(p) for p in FILES])
def test_a_module_imports_only_what_its_row_allows(path: Path) -> None:
    name = module_name(path)
    row = ALLOWED.get(name) or next(
        (ALLOWED[k] for k in sorted(ALLOWED, key=len, reverse=True) if name.startswith(k + ".")), None
    )
    if path.name == "__init__.py" and row is None:
        row = set()
    assert row is not None or name in ALLOWED, f"{name} has no row in the table"
    wrong = {t for t in imports_of(path) if not allowed(row or set(), t)}
    assert not wrong, f"{name} may not import {sorted(wrong)}"
