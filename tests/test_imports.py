"""The architecture as a table: a module imports exactly what its row allows, nothing else of ours."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent / "wearvision"
WORDS = {"errors", "quantity", "finding", "finding_record", "stated", "arrival", "toml_lines"}
ALLOWED: dict[str, set[str]] = {
    # words that both halves speak
    "errors": set(),
    "quantity": {"errors"},
    "finding": {"errors", "quantity"},
    "finding_record": {"errors", "finding", "quantity"},
    "stated": {"errors"},
    "arrival": {"errors"},
    "toml_lines": {"errors"},
    # the image half: pictures, no rules, no files
    "measure": {*WORDS, "measure"},
    "measure.board": {"errors"},
    "measure.plane": {"quantity", "measure.lens"},
    "measure.finders": {*WORDS, "measure"},
    # the rules half: no pictures, no files
    "rules": {*WORDS, "rules"},
    "rules.notation": {"errors"},
    "rules.decision": {"errors"},
    "rules.reading": {"errors", "rules.notation"},
    # edges: files and paper
    "memory": set(),
    "photos": {"errors", "memory"},
    "cards": {"errors", "stated", "measure.board", "cards"},
    "cards.corner_marks": {"measure.compiled"},
    "crates": {"errors", "stated", "arrival", "toml_lines", "photos", "crates"},
    "pages": {"errors", "quantity", "finding", "rules.cautions", "pages"},
    "pages.effects": {"rules.effect", "rules.effects.direction"},
    "store": {"errors", "store"},
    "store.record": {"errors", "arrival", "quantity", "rules", "store.event"},
    "store.arriving": {"errors", "arrival", "store.record"},
    "store.ledger": {"errors", "arrival", "rules", "store.chain", "store.event", "store.record", "store.arriving"},
    # use cases: the only place where pictures, rules and files meet
    "app": {*WORDS, "__init__", "measure", "rules", "photos", "cards", "crates", "pages", "store", "app"},
    # faces
    "talk": {"errors"},
    "cli": {"__init__", "errors", "stated", "talk", "app", "cli"},
    "__main__": {"cli"},
    # drawn scenes, an extra: they are scored with the program itself
    "scenes.coverage": {"measure", "quantity"},
    "scenes.scale_cards": {"measure", "scenes.coverage"},
    "scenes.scale_circles": {"measure", "scenes.coverage"},
    "scenes.scale_points": {"measure", "scenes.coverage"},
    "scenes.scale_rule": {"measure", "scenes.coverage"},
    "scenes.diameter": {"measure"},
    "scenes.faults": {"measure", "stated", "scenes"},
    "scenes.pit_fit": {"errors", "photos", "measure"},
    "scenes.score_vanes": {"quantity", "measure.vanes.telling", "scenes"},
    "scenes.pit_score": {"measure", "scenes.pit_fit"},
    "scenes.__main__": {"measure.prior", "app.measuring", "scenes"},
    "scenes": {"errors", "stated", "cards.layout", "measure.board", "measure.rule", "app.measuring", "scenes"},
}
"""Module or folder -> what it may import of ours; the most special row counts. A folder's name stands for all in it."""
FORBIDDEN = {"measure": {"io", "os", "pathlib", "time", "datetime"}, "rules": {"io", "os", "pathlib", "time", "cv2"}}
"""Folder -> what of the world it must not touch: measuring has no files and no clock, rules have no pictures."""


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


def row_of(name: str) -> set[str]:
    """The row of a module: its own, else that of the nearest folder."""
    parts = name.split(".")
    names = [".".join(parts[:n]) for n in range(len(parts), 0, -1)]
    return next((ALLOWED[n] for n in names if n in ALLOWED), set())


@pytest.mark.parametrize("path", FILES, ids=[module_name(p) for p in FILES])
def test_a_module_imports_only_what_its_row_allows(path: Path) -> None:
    name = module_name(path)
    wrong = {t for t in imports_of(path) if not allowed(row_of(name), t)}
    assert not wrong, f"{name} may not import {sorted(wrong)}"


@pytest.mark.parametrize("folder", FORBIDDEN)
def test_measuring_has_no_files_and_rules_no_pictures(folder: str) -> None:
    for path in (ROOT / folder).rglob("*.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        roots = {a.name.split(".")[0] for n in ast.walk(tree) if isinstance(n, ast.Import) for a in n.names}
        roots |= {(n.module or "").split(".")[0] for n in ast.walk(tree) if isinstance(n, ast.ImportFrom)}
        assert not roots & FORBIDDEN[folder], f"{path.name} touches {roots & FORBIDDEN[folder]}"


def test_the_table_names_what_exists() -> None:
    assert all(is_module(name) for name in ALLOWED if name != "__init__")


def test_no_two_modules_import_each_other() -> None:
    graph = {module_name(p): imports_of(p) - {"__init__"} for p in FILES}
    done: set[str] = set()

    def visit(name: str, path: tuple[str, ...]) -> None:
        assert name not in path, f"a circle: {' -> '.join((*path, name))}"
        if name not in done:
            for target in graph.get(name, set()):
                visit(target, (*path, name))
            done.add(name)

    for name in graph:
        visit(name, ())
