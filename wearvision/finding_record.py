"""A finding as the ledger keeps it: with its sealed estimates, and exact. Never sent to a screen or a file
that a reader of the gauge can see; the public form is `Finding.to_json`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from wearvision.errors import BadInput
from wearvision.finding import DETAILS, Finding
from wearvision.quantity import Measured, Quantity, quantity_from_json


def finding_record(finding: Finding) -> dict[str, object]:
    """Every field of a finding; outlines to 0.01 px."""
    shown = finding.to_json()
    return {**shown, **kept_besides(finding, shown)}


def kept_besides(finding: Finding, shown: Mapping[str, Any]) -> dict[str, object]:
    """What the ledger keeps of a finding in place of, or besides, what `Finding.to_json` has shown."""
    return {
        "by": finding.by, "struck": finding.struck, "same_as": finding.same_as,
        "quantities": {k: _with_u(q, shown["quantities"][k]) for k, q in finding.quantities.items()},
        "sealed": {k: _with_u(q, q.to_json()) for k, q in finding.sealed.items()},
    }  # fmt: skip


def finding_from_record(data: Mapping[str, object]) -> Finding:
    """Inverse of `finding_record`, through the constructor.

    Raises
    ------
    BadInput
        When the record is not one; the public form of `measure` is not, for it has no sealed values.
    """
    quantities, sealed, flags = data.get("quantities"), data.get("sealed"), data.get("flags")
    if not (isinstance(quantities, Mapping) and isinstance(sealed, Mapping) and isinstance(flags, list)):
        raise BadInput("not a stored finding", got=sorted(data))
    kind: object = data["kind"]
    return Finding(
        id=str(data["id"]), kind=kind, flags=tuple(map(str, flags)),  # type: ignore[arg-type]  # checked there
        outline_px=np.array(data["outline_px"], dtype=np.float64),
        places_px=np.array(data["places_px"], dtype=np.float64).reshape(-1, 2),
        quantities={str(k): _quantity(q) for k, q in quantities.items()},
        sealed={str(k): _quantity(q) for k, q in sealed.items()},
        by=str(data["by"]), struck=str(data["struck"]), same_as=str(data["same_as"]),
        detail={name: value for name in DETAILS if isinstance(value := data.get(name), str | int)},
    )  # fmt: skip


def _with_u(quantity: Quantity, shown: Mapping[str, object]) -> dict[str, object]:
    """The public form plus u itself: u95 / 1.96 would come back one rounding off, and change the digest."""
    return {**shown, "u": float(quantity.u)} if isinstance(quantity, Measured) else dict(shown)


def _quantity(data: Mapping[str, object]) -> Quantity:
    quantity = quantity_from_json(data)
    if isinstance(quantity, Measured):
        return Measured(value=quantity.value, u=float(str(data["u"])), unit=quantity.unit, how=quantity.how,
                        budget=quantity.budget)  # fmt: skip
    return quantity
