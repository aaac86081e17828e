"""What one photo says: scale, doubts about the photo, findings. The image half in one call."""

from __future__ import annotations

from dataclasses import dataclass

from wearvision.finding import Finding
from wearvision.measure.plane import Plane
from wearvision.quantity import Quantity, Unmeasured


@dataclass(frozen=True, kw_only=True)
class Retake:
    """A gate the photo did not pass: a code and one sentence that tells the tech what to do."""

    code: str
    say: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Survey:
    """One photo, measured.

    Attributes
    ----------
    plane : Plane or Unmeasured
    retake : tuple of Retake
        Empty when the photo is usable.
    findings : tuple of Finding
    summary : dict of str to Quantity
        `face_area`, `face_inner_radius`, `face_outer_radius`, `groove_share`, ...
    not_assessed : tuple of (what, why)
    """

    plane: Plane | Unmeasured
    retake: tuple[Retake, ...] = ()
    findings: tuple[Finding, ...] = ()
    summary: dict[str, Quantity]
    not_assessed: tuple[tuple[str, str], ...] = ()

    @property
    def usable(self) -> bool:
        """Whether no gate asks for a retake."""
        return not self.retake
