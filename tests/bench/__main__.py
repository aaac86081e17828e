"""Every benchmark in one table: `python -m tests.bench [NAME ...] [--json]`; exit code 1 on a broken bound."""

from __future__ import annotations

import importlib
import sys

from tests.bench.ratio import Row, as_json, table

ALL = ("startup", "photo", "snap", "ridges", "spots", "gasket", "tongue", "vanes", "vane_edge", "light", "circle")


def main(words: list[str]) -> int:
    names = [word for word in words if not word.startswith("-")] or ALL
    rows: list[Row] = []
    for name in names:
        if name not in ALL:
            sys.exit(f"no benchmark {name!r}; there are {', '.join(ALL)}")
        rows += importlib.import_module(f"tests.bench.{name}").rows()
    print(as_json(rows) if "--json" in words else table(rows))
    return 0 if all(row.held for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
