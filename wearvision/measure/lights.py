"""The photo in light of one colour: red, in which rust is nearly as bright as bare metal, or blue, in which it is dark.

Oxides of iron reflect red light and absorb blue (spectra of goethite and haematite, from memory): what rust hides, or
makes up, in the greys of a photo it does not in red, and what is rusty stands out from grey in blue.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cached_property

import cv2
import numpy as np

from wearvision.measure.unwrap import Image


class Lights:
    """A photo's red and blue light, decoded when it is first looked at.

    Parameters
    ----------
    decode : callable
        Gives the photo in colour, (H, W, 3) uint8, red first, as large as its greys.
    """

    def __init__(self, decode: Callable[[], Image]) -> None:
        self._decode = decode

    def __iter__(self) -> Iterator[Image]:
        """Red and blue light, (H, W) uint8 each; nothing where the photo has no colours."""
        yield from self._made

    @cached_property
    def _made(self) -> tuple[Image, ...]:
        colour = self._decode()
        red, blue = (np.asarray(cv2.extractChannel(colour, k), dtype=np.uint8) for k in (0, 2))
        return () if np.array_equal(red, blue) else (red, blue)
