"""The photo in light of one colour: red, in which rust is nearly as bright as bare metal, or blue, in which it is dark.

Oxides of iron reflect red light and absorb blue (spectra of goethite and haematite, from memory): what rust hides, or
makes up, in the greys of a photo it does not in red, and what is rusty stands out from grey in blue.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cached_property

import numpy as np

from wearvision.measure.unwrap import Image


class Lights:
    """A photo in red and in blue light, decoded when it is first looked at.

    Parameters
    ----------
    decode : callable
        Gives the photo in red and in blue light, (H, W) uint8 each, as large as its greys.
    """

    def __init__(self, decode: Callable[[], tuple[Image, Image]]) -> None:
        self._decode = decode

    def __iter__(self) -> Iterator[Image]:
        """Red and blue light, (H, W) uint8 each; nothing where the photo has no colours."""
        yield from self._made

    @cached_property
    def _made(self) -> tuple[Image, ...]:
        red, blue = self._decode()
        return () if np.array_equal(red, blue) else (red, blue)
