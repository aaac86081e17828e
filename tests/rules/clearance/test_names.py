"""Half of a clearance is not the clearance: every name, label and key says diametral, radial or axial."""

from __future__ import annotations

import dataclasses
import re
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, get_args

import pytest
from pydantic import BaseModel

from tests.rules.clearance.kit import gauged, judged, pair, stack
from wearvision.app import pump_file
from wearvision.errors import BadInput
from wearvision.rules import pump
from wearvision.rules.clearance.axial import AxialStack
from wearvision.rules.clearance.axial_table import axial_json, axial_lines
from wearvision.rules.clearance.cold import Heat
from wearvision.rules.clearance.line import WAYS, Line
from wearvision.rules.clearance.ring_fit import RingFit
from wearvision.rules.clearance.ring_table import NewClearance
from wearvision.rules.clearance.rings import RingClearance
from wearvision.rules.clearance.wear import Face, Patch, Wear
from wearvision.rules.clearance.window import Room, Window
from wearvision.rules.gauged import Gauged
from wearvision.rules.pump import Thermal

DEMO = Path(__file__).parents[3] / "demo_images"
MEANT = re.compile(r"clearance|(?<![a-z])gap|setting(?!_temp)|ovality|taper|travel|(?<![a-z])move(?![a-z])")
"""Words that mean a clearance, or a part of one."""
HOT = Thermal(
    case_material="grey iron", rotor_material="stainless 316", case_length_axial_mm=250, rotor_length_axial_mm=250,
    setting_temp_c=20, process_temp_c=170,
)  # fmt: skip


def says(name: str) -> bool:
    return sum(way in name.lower() for way in WAYS) == 1


def keys(data: Any) -> Iterator[str]:
    if isinstance(data, Mapping):
        for key, value in data.items():
            yield str(key)
            yield from keys(value)
    elif isinstance(data, list | tuple):
        for value in data:
            yield from keys(value)


RECORDS = (pump.AxialFacts, pump.RingPair, pump.BackVanes, pump.Thermal, AxialStack, Heat, RingFit, NewClearance,
           RingClearance, Wear, Patch, Face, Room, Window)  # fmt: skip


@pytest.mark.parametrize("record", RECORDS, ids=lambda r: r.__name__)
def test_every_field_of_a_clearance_says_which(record: type) -> None:
    for field in dataclasses.fields(record):
        gauged_field = "Gauged" in str(field.type) and "diameter" not in field.name
        if gauged_field or MEANT.search(field.name):
            assert says(field.name), f"{record.__name__}.{field.name}"
    for name, made in vars(record).items():
        if isinstance(made, property) and "Gauged" in str(made.fget and made.fget.__annotations__):
            assert says(name), f"{record.__name__}.{name}"


def models(model: type[BaseModel]) -> Iterator[type[BaseModel]]:
    yield model
    for field in model.model_fields.values():
        for inner in (field.annotation, *get_args(field.annotation)):
            if isinstance(inner, type) and issubclass(inner, BaseModel):
                yield from models(inner)


def test_every_key_of_the_pump_file_says_which() -> None:
    seen = 0
    for model in models(pump_file.PumpFile):
        for name, field in model.model_fields.items():
            key = field.alias or name
            if MEANT.search(key) and key != "setting_temperature":
                seen += 1
                assert says(key), key
    assert seen >= 4
    others = {"front_up_to", "running_side", "casing_worn_share", "impeller_worn_share", "cover_worn_share"}
    assert all(key.endswith("_axial") for key in set(pump_file.Axial.model_fields) - others)


@pytest.mark.parametrize("name", ["pump-P-101.toml", "pump-P-204.toml"])
def test_the_demo_files_say_which(name: str) -> None:
    data = tomllib.loads((DEMO / name).read_text(encoding="utf-8"))
    found = [k for k in keys(data) if MEANT.search(k) and k != "setting_temperature"]
    assert all(map(says, found)), found


def test_every_line_says_which() -> None:
    wear = Wear(impeller_axial=gauged(0.05), back_vanes_axial=gauged(0.1))
    found = stack(wear, HOT, adjuster_left_axial_mm=1.0)
    ring = judged(pair(bore_material="grey iron", ring_material="stainless 316"), HOT)
    lines = (*axial_lines(found), *ring.lines)
    assert len(lines) >= 20
    for line in lines:
        assert says(line.key) and says(line.label), (line.key, line.label)


def test_every_json_key_says_which() -> None:
    ring = judged(pair(bore_material="grey iron", ring_material="stainless 316"), HOT)
    found = [k for k in keys([axial_json(stack(thermal=HOT)), ring.to_json()]) if MEANT.search(k)]
    assert len(found) >= 12
    assert all(map(says, found)), [k for k in found if not says(k)]


@pytest.mark.parametrize(
    ("key", "label"),
    [("clearance", "Clearance, diametral"), ("gap_axial", "Gap"), ("gap_axial", "Gap, radial"),
     ("radial_or_axial", "Radial or axial")],
)  # fmt: skip
def test_a_line_that_does_not_say_cannot_be_made(key: str, label: str) -> None:
    with pytest.raises(BadInput, match="diametral, radial or axial"):
        Line(key=key, label=label, figure=Gauged(value_mm=1.0, u_mm=0.0))
