"""The state of `adjust` that corners and priors tell best, from corners that scatter and count so much."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from wearvision.measure.model import Fitted, fitted
from wearvision.measure.paper import Points

Array = NDArray[np.float64]


def descend(
    boards: Sequence[Points], state: Array, known: tuple[Array, Array], sigma: float, trust: Array, *,
    still: bool = False,
) -> Fitted:  # fmt: skip
    """The state that corners and priors tell best, from one near it; or how it fares, held ``still`` (`fitted`)."""
    seen, relative = (np.concatenate(part) for part in zip(*((b.px, b.sigma_rel) for b in boards), strict=True))
    return fitted(boards, seen, trust * (sigma * relative) ** -2.0, state, known, still=still)
