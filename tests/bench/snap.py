"""What snapping a box costs and gains, against stock grab-cut from the same box, on drawn pits.

Run: python -m tests.bench.snap
"""

from __future__ import annotations

import cv2
import numpy as np

from tests.bench.ratio import Row, median_ms, ratios
from tests.measure.spot_kit import filled, iou, spot
from wearvision.measure.snap import Snapped, ellipse_in, grown, snap
from wearvision.scenes.pit_score import grab_cut

LOOSE = 0.15


def rows() -> list[Row]:
    """Snapping one rough box, in stock grab-cuts from the same box."""
    cv2.setNumThreads(1)
    drawn = spot(50)
    box = grown(tuple(drawn.box), LOOSE)
    return ratios(
        lambda: grab_cut(drawn.gray, box),
        {"snap a box, in stock grab-cuts": lambda: snap(drawn.gray, box_px=np.array(box))},
    )


def main() -> None:
    cv2.setNumThreads(1)
    drawn = [spot(seed) for seed in range(50, 60)]
    boxes = [grown(tuple(d.box), LOOSE) for d in drawn]
    found = [snap(d.gray, box_px=np.array(b)) for d, b in zip(drawn, boxes, strict=True)]
    told = {
        "snap": [filled(f.outline_px) for f in found if isinstance(f, Snapped)],
        "grab-cut": [grab_cut(d.gray, b) for d, b in zip(drawn, boxes, strict=True)],
        "ellipse": [filled(ellipse_in(b)) for b in boxes],
    }
    for name, masks in told.items():
        print(f"{name:9} mean IoU {np.mean([iou(m, d.inside) for m, d in zip(masks, drawn, strict=True)]):.2f}")
    spent = median_ms({
        "snap": lambda: snap(drawn[0].gray, box_px=np.array(boxes[0])),
        "grab-cut": lambda: grab_cut(drawn[0].gray, boxes[0]),
    })  # fmt: skip
    print(f"snap {spent['snap']:.0f} ms, grab-cut {spent['grab-cut']:.0f} ms")


if __name__ == "__main__":
    main()
