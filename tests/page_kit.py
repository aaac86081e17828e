"""Small made-up models for the tests of pages and reports."""

from __future__ import annotations

import re
from html import unescape

import numpy as np

from wearvision.pages.board import BoardModel, PartCard
from wearvision.pages.overlay import jpeg
from wearvision.pages.page import FindingRow, Picture
from wearvision.pages.report import (
    CriterionView,
    DecisionView,
    EntryView,
    InstrumentView,
    PhotoView,
    ReportView,
    SealedView,
    SightView,
    TableView,
    VerdictView,
)
from wearvision.quantity import Measured, Unmeasured

EVIL = "<script>alert('x')</script> & \"co\""
VERDICTS = ("reuse", "rework first", "do not reuse", "undecided")
DIGEST = "9f2b5c7a1d0e4f6688aa0b1c2d3e4f5061728394a5b6c7d8e9f0a1b2c3d4e5f6"
HEAD = DIGEST[::-1]
EXPECTED = (
    "CAS-0139", "Crate 7", "Reuse with loss noted", "Groove uses its limit.", "Sheet confirmed by R. Eader, 10:28",
    "Efficiency 1 to 4 points lower.", "Set the front gap.", "1/16", "1.588 mm", "1.390 mm", "read the wrong scale",
    "Replaced by a later entry", "1.9 ± 0.3 mm", "0.51 off", "1.390 + 0.020 = 1.410 mm, limit 1.587 mm: within",
    "no line seen", "DG-2217", "0.01 mm", "±0.02 mm", "1 Mar 2027", "3.62 ± 0.06 mm", "front gap", "0.45 mm",
    "wearvision 1.2.3", DIGEST, HEAD, "A photo never clears a crack", "Signature", "Guarded decision.",
    "0.12 mm per pixel",
)  # fmt: skip
"""What a report of `report()` must say, on the page and in the PDF."""


def picture(words: str = "a wear face") -> Picture:
    rgb = np.full((60, 80, 3), 128, dtype=np.uint8)
    return Picture(jpeg=jpeg(rgb), width_px=80, height_px=60, alt=words, caption=words)


def groove() -> FindingRow:
    width = Measured(value=3.618, u=0.027, unit="mm")
    return FindingRow(
        id="G1", kind="groove", figures=(("width", width), ("arc", Unmeasured(reason="cut off"))), flags=("faint",)
    )


def board(**more: object) -> BoardModel:
    parts = (
        PartCard(tag="C-3", part_kind="casing", next_step="likely within", command="wearvision read C-3"),
        PartCard(
            tag=EVIL, part_kind="casing", next_step="gauge first", photos=2, pictures=(picture(), picture(EVIL)),
            findings=(groove(),), points=6, why=EVIL, not_assessed=(("crack", "a photo never clears a crack"),),
            command=f"wearvision read {EVIL}",
        ),
        PartCard(tag="C-1", part_kind="impeller", next_step="retake", retakes=(("a.jpg", "Step back."),)),
        PartCard(tag="C-2", part_kind="box-cover", next_step="likely beyond", points=1),
    )  # fmt: skip
    model = {
        "crate": "Crate 7", "made_at": "25 Nov 2026", "version": "1.2.3", "photos_total": 42, "photos_done": 38,
        "parts": parts, "set_aside": (("b.jpg", "The file ends early."),),
    } | more  # fmt: skip
    return BoardModel(**model)  # type: ignore[arg-type] # keyword bag of a test


def entry(point: str, typed: str, value: str, **more: object) -> EntryView:
    model = {"u": "0.012 mm", "instrument": "A", "reader": "R. Eader", "at": "25 Nov 2026, 10:14"} | more
    return EntryView(point=point, typed=typed, value=value, **model)  # type: ignore[arg-type] # keyword bag of a test


def criterion() -> CriterionView:
    return CriterionView(
        title="Groove depth", limit="1/16 or less", demand="depth gauge", when_beyond="rework first",
        entries=(
            entry("2", "1/16", "1.588 mm", stands=False),
            entry("2", "1.39", "1.390 mm", reason="read the wrong scale"),
        ),
        sealed=(
            SealedView(point="2", estimate="1.9 ± 0.3 mm", how="line-light", opened_at="10:15", beside="0.51 off"),
        ),
        decision=DecisionView(
            word="within", m="1.390 mm", u="0.012 mm", g="0.020 mm", limit="1.587 mm or less",
            arithmetic="1.390 + 0.020 = 1.410 mm, limit 1.587 mm: within",
        ),
    )  # fmt: skip


def report(**more: object) -> ReportView:
    sight = SightView(seen="no line seen", how="by eye, 10x", reader="R. Eader", at="10:20")
    model = {
        "tag": "CAS-0139", "part_kind": "casing", "crate": "Crate 7", "made_at": "25 Nov 2026", "version": "1.2.3",
        "rubric": "House rubric", "rubric_digest": DIGEST, "rule": "Guarded decision.",
        "photos": (PhotoView(picture=picture(), file="a.jpg", sha256=DIGEST, scale="0.12 mm per pixel"),),
        "findings": (groove(),),
        "instruments": (
            InstrumentView(key="A", kind="digital depth gauge", serial="DG-2217", resolution="0.01 mm",
                           mpe="±0.02 mm", zero_check="08:55", due="1 Mar 2027"),
        ),
        "criteria": (criterion(), CriterionView(title="Cracks", limit="none", sights=(sight,))),
        "verdict": VerdictView(
            word="reuse with loss noted", reasons=("Groove uses its limit.",), by="R. Eader", at="10:28"
        ),
        "losses": ("Efficiency 1 to 4 points lower.",), "follow_ups": ("Set the front gap.",),
        "not_assessed": (("crack", "a photo never clears a crack"),), "stated": (("card_height_mm", "0"),),
        "tables": (TableView(title="Clearances", columns=("Where", "Now"), rows=(("front gap", "0.45 mm"),)),),
        "chain_head": HEAD, "chain_length": 412,
    } | more  # fmt: skip
    return ReportView(**model)  # type: ignore[arg-type] # keyword bag of a test


def open_report(**more: object) -> ReportView:
    lacking = CriterionView(
        title="Groove depth", limit="1/16 or less", when_beyond="do not reuse", missing="points 4, 5"
    )
    lack = {"verdict": None, "missing": ("Groove depth: points 4, 5",), "losses": (), "criteria": (lacking,)}
    return report(**(lack | more))


def words_of(html: str) -> str:
    """Visible text of a page, spaces made single."""
    body = re.sub(r"<(style|script)\b.*?</\1>", " ", html, flags=re.S)
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", body)).split())
