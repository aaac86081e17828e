"""Every benchmark in one table: `python -m tests.bench [NAME ...] [--json]`; exit code 1 on a broken bound.

`python -m tests.bench photo FOLDER` measures the photos of a folder instead of the demo crate's.
"""

from __future__ import annotations

import importlib
import sys
from pathlib import Path

from tests.bench.ratio import Row, as_json, table

ALL = ("startup", "photo", "snap", "ridges", "spots", "gasket", "tongue", "vanes", "vane_edge", "light", "circle")


def main(words: list[str]) -> int:
    said = [word for word in words if not word.startswith("-")]
    folder = Path(said.pop()) if said[:1] == ["photo"] and len(said) == 2 and Path(said[1]).is_dir() else None
    rows: list[Row] = []
    for name in said or ALL:
        if name not in ALL:
            sys.exit(f"no benchmark {name!r}; there are {', '.join(ALL)}")
        module = importlib.import_module(f"tests.bench.{name}")
        rows += module.rows(folder) if folder is not None else module.rows()
    print(as_json(rows) if "--json" in words else table(rows))
    return 0 if all(row.held for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
