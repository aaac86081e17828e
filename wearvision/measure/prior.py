"""What is known of lens, print and support before looking at a photo."""

from __future__ import annotations

import math
from dataclasses import dataclass

from wearvision.errors import BadInput

FILM_DIAGONAL_MM, FILM_WIDTH_MM = 43.267, 36.0
"""35 mm film frame, for the EXIF focal length (facts: by diagonal and by width differ by 4 % on 4:3)."""
FOCAL_SD = 0.028
"""Of ln f from EXIF: the two conversions lie 2 % to either side of their middle, rounding adds 2 %."""
FOCAL_GUESS, FOCAL_GUESS_SD = 0.8, 0.35
"""Of the long side, and sd of ln f, when no focal length is known: about 18 to 58 mm film (95 %)."""
K1_SD = 0.03
"""Of k1 at a focal length of one long side, growing with it: what phones leave.
Common practice, no source."""
CENTRE_SD = 0.005
"""Of the principal point, as a share of the width. Common practice, no source."""
PRINT_SD = 0.0025
"""Of ln print scale, nobody having measured: +-0.5 % (95 %)."""
CHECK_BAR_MM, CHECK_BAR_SD_MM = 100.0, 0.03
"""Length drawn, and sd of a caliper reading on a printed bar (limit of error 0.03 mm, ends by eye)."""
PRINT_ANISOTROPY_SD = 0.0004
"""Of ln print scale beyond one measured bar: printers differ along and across the feed."""
PAPER_MM = 0.3
"""Printed side above its support: a print on card or laminated, 0.2 to 0.4 mm."""
HEIGHT_SD_MM = 0.3
"""Of that height: thickness, seating of the support, rounding of the edge looked at. Common practice,
no source."""


@dataclass(frozen=True, kw_only=True)
class Prior:
    """Independent Gaussian priors of the last six parameters, in the order of `NAMES[6:]`."""

    mean: tuple[float, ...]
    sd: tuple[float, ...]


def prior_of(
    size_px: tuple[int, int], focal35_mm: float | None, check_bar_mm: float | None, card_height_mm: float
) -> Prior:
    """What is known before looking: lens from EXIF, print from the check bar, height as stated."""
    width, height = size_px
    if focal35_mm is not None and not (math.isfinite(focal35_mm) and focal35_mm > 0):
        raise BadInput("35 mm focal length: not a positive number", got=focal35_mm, do="leave it out")
    log_f, log_f_sd = math.log(FOCAL_GUESS * max(size_px)), FOCAL_GUESS_SD
    if focal35_mm is not None:
        by_diagonal = math.hypot(width, height) / FILM_DIAGONAL_MM
        by_width = max(size_px) / FILM_WIDTH_MM
        log_f, log_f_sd = math.log(focal35_mm * math.sqrt(by_diagonal * by_width)), FOCAL_SD
    log_print, print_sd = 0.0, PRINT_SD
    if check_bar_mm is not None:
        log_print = math.log(check_bar_mm / CHECK_BAR_MM)
        print_sd = math.hypot(CHECK_BAR_SD_MM / CHECK_BAR_MM, PRINT_ANISOTROPY_SD)
    k1_sd = K1_SD * math.exp(log_f) / max(size_px)
    centre_sd = CENTRE_SD * width
    return Prior(
        mean=(log_f, 0.0, (width - 1) / 2, (height - 1) / 2, log_print, card_height_mm + PAPER_MM),
        sd=(log_f_sd, k1_sd, centre_sd, centre_sd, print_sd, HEIGHT_SD_MM),
    )
