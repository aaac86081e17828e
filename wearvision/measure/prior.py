"""What is known of lens, print and support before looking at a photo."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearvision.errors import BadInput
from wearvision.measure.lens import LENS, Lens

Array = NDArray[np.float64]

FILM_DIAGONAL_MM, FILM_WIDTH_MM = 43.267, 36.0
"""35 mm film frame, for the EXIF focal length (facts: by diagonal and by width differ by 4 % on 4:3)."""
FOCAL_SD = 0.028
"""Of ln f from EXIF: the two conversions lie 2 % to either side of their middle, rounding adds 2 %."""
FOCAL_GUESS, FOCAL_GUESS_SD = 0.8, 0.35
"""Of the long side, and sd of ln f, when no focal length is known: about 18 to 58 mm film (95 %)."""
K1_SD, K2_SD = 0.03, 0.005
"""Of k1 and k2 at a focal length of one long side, growing with it: what phones leave.
Common practice, no source."""
CENTRE_SD = 0.005
"""Of the principal point, as a share of the width. Common practice, no source."""
PRINT_SD = 0.0025
"""Of ln print scale, nobody having measured: +-0.5 % (95 %)."""
STRETCH_SD = 0.0025
"""Of half the difference of ln print scale across and down, nobody having measured: printers differ along and
across the feed (facts 15.5)."""
CHECK_BAR_MM, CHECK_BAR_SD_MM = 100.0, 0.03
"""Length drawn, and sd of a caliper reading on a printed bar (limit of error 0.03 mm, ends by eye)."""
ONE_BAR_STRETCH_SD = 0.0004
"""Of the stretch when one length is stated for a bar that is to be measured both ways: had they differed by more
than 0.1 mm, two would have been stated."""
LIKE_SD, UNCHECKED_LIKE_SD = 0.0004, 0.001
"""Of ln print scale of one card against another from the same printer; when no bar was measured, they need not
be of one run nor of one age. Common practice, no source."""
PAPER_MM = 0.3
"""Printed side above its support: a print on card or laminated, 0.2 to 0.4 mm."""
HEIGHT_SD_MM = 0.22
"""Of that height for all cards alike: support, rounding of the edge looked at; each card has more of its own. Common
practice, no source."""


@dataclass(frozen=True, kw_only=True)
class PrintCheck:
    """Caliper readings of the printed 100 mm bar.

    Attributes
    ----------
    across_mm, down_mm : float
        Along the card's x and y.
    u_mm : float
        Standard uncertainty of a reading.
    """

    across_mm: float
    down_mm: float
    u_mm: float = CHECK_BAR_SD_MM

    @property
    def log_print(self) -> float:
        """Mean ln print scale."""
        return math.log(self.across_mm * self.down_mm / CHECK_BAR_MM**2) / 2

    @property
    def stretch(self) -> float:
        """Half of what ln print scale is larger across than down."""
        return math.log(self.across_mm / self.down_mm) / 2


@dataclass(frozen=True, kw_only=True)
class Prints:
    """Gaussian knowledge of the print scale of several boards.

    Attributes
    ----------
    mean, sd : float
        Of the ln print scale that all share.
    grow, stretch : tuple of (mean, sd), one per board
        What a board's own ln scale has beyond that; half of what it is larger across than down.
    """

    mean: float
    sd: float
    grow: tuple[tuple[float, float], ...]
    stretch: tuple[tuple[float, float], ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class Prior:
    """What is known of lens, prints and height, all Gaussian and independent of one another.

    Attributes
    ----------
    lens, lens_precision : (5,), (5, 5) arrays
        In the order of `LENS`.
    prints : Prints
    height_mm, height_sd_mm : float
    lens_source : str
        As in `Plane`.
    """

    lens: Array
    lens_precision: Array
    prints: Prints
    height_mm: float
    height_sd_mm: float = HEIGHT_SD_MM
    lens_source: str = "none"

    @property
    def mean(self) -> tuple[float, ...]:
        """Means of the parameters of a plane after its pose, in their order there."""
        log_f, k1, cx, cy, k2 = self.lens.tolist()
        return log_f, k1, cx, cy, self.prints.mean, self.height_mm, k2

    @property
    def sd(self) -> tuple[float, ...]:
        """Their standard deviations, each by itself."""
        log_f, k1, cx, cy, k2 = np.sqrt(np.diag(np.linalg.inv(self.lens_precision))).tolist()
        return log_f, k1, cx, cy, self.prints.sd, self.height_sd_mm, k2

    @property
    def focal_px(self) -> float:
        """Most probable focal length."""
        return math.exp(float(self.lens[0]))


CheckBar = float | tuple[float, float] | None
"""Length of the 100 mm bar, or its lengths across and down."""


def prior_of(
    size_px: tuple[int, int],
    focal35_mm: float | None,
    check_bar_mm: CheckBar = None,
    card_height_mm: float = 0.0,
    *,
    checks: Sequence[PrintCheck | None] = (None,),
    lens: Lens | None = None,
) -> Prior:
    """What is known before looking: lens from calibration or EXIF, print from bars, height as stated.

    Parameters
    ----------
    checks : sequence of PrintCheck or None, one per board
        Readings of a board's own bars; they go before `check_bar_mm`, which is said of all boards.
    lens : Lens, optional
        A calibration of this camera, in the photo's frame.

    Raises
    ------
    BadInput
        For a focal length that is not positive, or a calibration of another picture size.
    """
    if lens is not None and lens.size_px != size_px:
        raise BadInput("a calibration of another picture size", got=lens.size_px, do="calibrate this camera")
    mean, precision = _lens_guess(size_px, focal35_mm)
    source = "none" if focal35_mm is None else "exif"
    if lens is not None:
        mean, precision, source = lens.mean, np.asarray(np.linalg.inv(lens.covariance)), "calibrated"
    return Prior(
        lens=mean, lens_precision=precision, prints=prints_of(check_bar_mm, checks), lens_source=source,
        height_mm=card_height_mm + PAPER_MM,
    )  # fmt: skip


def _lens_guess(size_px: tuple[int, int], focal35_mm: float | None) -> tuple[Array, Array]:
    """Mean and precision of an uncalibrated lens."""
    width, height = size_px
    if focal35_mm is not None and not (math.isfinite(focal35_mm) and focal35_mm > 0):
        raise BadInput("35 mm focal length: not a positive number", got=focal35_mm, do="leave it out")
    log_f, log_f_sd = math.log(FOCAL_GUESS * max(size_px)), FOCAL_GUESS_SD
    if focal35_mm is not None:
        by_diagonal = math.hypot(width, height) / FILM_DIAGONAL_MM
        by_width = max(size_px) / FILM_WIDTH_MM
        log_f, log_f_sd = math.log(focal35_mm * math.sqrt(by_diagonal * by_width)), FOCAL_SD
    reach = math.exp(log_f) / max(size_px)
    k1_sd, k2_sd, centre_sd = K1_SD * reach, K2_SD * reach, CENTRE_SD * width
    sd = np.array([log_f_sd, k1_sd, centre_sd, centre_sd, k2_sd])
    assert len(sd) == len(LENS)
    return np.array([log_f, 0.0, (width - 1) / 2, (height - 1) / 2, 0.0]), np.diag(sd**-2.0)


def prints_of(check_bar_mm: CheckBar, checks: Sequence[PrintCheck | None]) -> Prints:
    """Print scales of boards, some with readings of their own.

    Half of a reading's variance is the caliper's own and shared by all of them.
    """
    own = [check for check in checks if check is not None]
    if own:
        mean = sum(c.log_print for c in own) / len(own)
        sd = max(c.u_mm for c in own) / CHECK_BAR_MM / math.sqrt(2)
        stranger = (_said(check_bar_mm).log_print - mean, CHECK_BAR_SD_MM / CHECK_BAR_MM) if check_bar_mm else (
            -mean, PRINT_SD)  # fmt: skip
        grow = [stranger if c is None else (c.log_print - mean, c.u_mm / CHECK_BAR_MM / 2) for c in checks]
        stretch = [_stretch(check_bar_mm) if c is None else (c.stretch, c.u_mm / CHECK_BAR_MM / 2) for c in checks]
        return Prints(mean=mean, sd=sd, grow=tuple(grow), stretch=tuple(stretch))
    mean, sd = (0.0, PRINT_SD)
    if check_bar_mm is not None:
        mean, sd = _said(check_bar_mm).log_print, CHECK_BAR_SD_MM / CHECK_BAR_MM
    count = len(checks)
    like = UNCHECKED_LIKE_SD if check_bar_mm is None else LIKE_SD
    return Prints(mean=mean, sd=sd, grow=((0.0, like),) * count, stretch=(_stretch(check_bar_mm),) * count)


def _said(check_bar_mm: float | tuple[float, float]) -> PrintCheck:
    across, down = check_bar_mm if isinstance(check_bar_mm, tuple) else (check_bar_mm, check_bar_mm)
    return PrintCheck(across_mm=across, down_mm=down)


def _stretch(check_bar_mm: CheckBar) -> tuple[float, float]:
    """Mean and sd of the stretch of a board without readings of its own."""
    if check_bar_mm is None:
        return 0.0, STRETCH_SD
    if isinstance(check_bar_mm, tuple):
        return _said(check_bar_mm).stretch, CHECK_BAR_SD_MM / CHECK_BAR_MM / math.sqrt(2)
    return 0.0, ONE_BAR_STRETCH_SD
