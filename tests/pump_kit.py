"""A pump file with its gauges, and parts with confirmed readings in a ledger; invented shop data."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from tests import sheet_kit
from wearvision.app.shop import Shop
from wearvision.rules.sheet import prefill

DEMO = Path(__file__).parent.parent / "demo_images"
AT = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
HEAD = """format = "wearvision.pump/1"
tag = "P-7"
gauges = "gauges.toml"
read_by = "Demo Reader"
read_at = "2026-03-02T10:30:00"
"""
AXIAL = """
[axial]
front_gap_axial = { reading = "0.50 mm", gauge = "FG-02" }
total_gap_axial = { reading = "1.85 mm", gauge = "DI-04" }
"""
PARTS = """
[parts]
casing = "C-1"
impeller = "I-1"
"""


def ring(name: str, bore_mm: float, ring_mm: float, more: str = "") -> str:
    """A `[[rings]]` table with a round pair."""
    lines = [f'\n[[rings]]\nname = "{name}"', more]
    for key, size, gauge in (("inside", bore_mm, "IM-08"), ("outside", ring_mm, "OM-21")):
        read = [
            f'{{ place = "{place}", angle = "{angle} deg", reading = "{size:.2f} mm", gauge = "{gauge}" }}'
            for place in ("front", "rear") for angle in (0, 90)
        ]  # fmt: skip
        lines.append(f"{key} = [{', '.join(read)}]")
    return "\n".join(lines) + "\n"


def write(folder: Path, text: str, name: str = "pump.toml") -> Path:
    """The file and the demo's gauges beside it."""
    (folder / "gauges.toml").write_text((DEMO / "gauges.toml").read_text(encoding="utf-8"), encoding="utf-8")
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def lay(shop: Shop, tag: str, kind: str, *, typed: dict[int, str] | None = None, suspect: bool = False) -> None:
    """A part with a sheet and every reading committed; not yet confirmed."""
    shop.ledger.receive(tag, kind, "Trial crate", AT)
    sheet = prefill(sheet_kit.rubric(kind), tag, [])
    assert shop.ledger.begin(sheet, AT)
    sights = {("cracks", "eye"): "suspect"} if suspect else {}
    for entry in sheet_kit.whole_log(sheet, typed=typed, sights=sights).entries:
        shop.ledger.commit(tag, entry, AT)


def confirm(shop: Shop, tag: str) -> None:
    shop.ledger.confirm(tag, "C. Lead", AT)
