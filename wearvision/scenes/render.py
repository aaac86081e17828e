"""Path-trace a stage: the only module that needs the extra ``scenes`` (mitsuba 3)."""

from __future__ import annotations

import math
import os
import re
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from wearvision.scenes.lens import camera_matrix, rays, undistort
from wearvision.scenes.spec import Camera
from wearvision.scenes.stage import Stage
from wearvision.scenes.world import build

Floats = NDArray[np.float32]

BOUNCES = 4
BRIGHTEST = 6.0
"""Light is capped at this many times the median, which tames single stray samples."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Traced:
    """``light`` (H, W, 3) linear radiance in photo geometry; ``codes`` (H, W) the piece seen by each pixel.

    ``hit_mm`` (H, W, 3): the point seen in each pixel.
    """

    light: Floats
    codes: NDArray[np.uint8]
    hit_mm: Floats


def load_tracer() -> Any:
    """Import mitsuba with its fastest variant here.

    Measured on two cores, 3 MP at 16 samples: ``llvm_ad_rgb`` 3 s (``llvm_ad_mono`` the same),
    ``scalar_rgb`` 25 s. Without an LLVM library the slow variant is used and stderr says so.
    """
    os.environ.setdefault("DRJIT_LIBLLVM_PATH", _newest_llvm())
    import mitsuba

    try:
        mitsuba.set_variant("llvm_ad_rgb")
        import drjit

        drjit.eval(drjit.llvm.Float(1.0) + 1.0)
    except (ImportError, AttributeError, RuntimeError) as problem:
        note = str(problem).splitlines()[0]
        print(f"no usable LLVM ({note}): drawing with scalar_rgb, about 8 times slower", file=sys.stderr)
        mitsuba.set_variant("scalar_rgb")
    return mitsuba


def _newest_llvm() -> str:
    """Path of the newest LLVM library there is, as versions before 16 end the process; empty: the linker's own."""
    found = {int(number[1]): path for path in Path("/usr/lib").glob("*/libLLVM*so*")
             if (number := re.search(r"LLVM(?:-|\.so\.)(\d+)", path.name))}  # fmt: skip
    return str(found[max(found)]) if found else ""


def trace(stage: Stage, samples: int, mi: Any = None) -> Traced:
    """Path-trace a stage into photo geometry, with mask codes and the point seen by each pixel.

    Parameters
    ----------
    samples : light paths per pixel, best a square; 9 leaves noise like a small phone sensor indoors.
    mi : the module from `load_tracer`, to load it only once for many stages.
    """
    mi = mi or load_tracer()
    world = build(mi, stage)
    integrator = mi.load_dict({"type": "path", "max_depth": BOUNCES})
    sensor = mi.load_dict(_sensor(mi, stage.camera, samples))
    seed = stage.seed % 100_000
    drawn = mi.render(world, sensor=sensor, integrator=integrator, spp=samples, seed=seed)
    scalar = str(mi.variant()).startswith("scalar")
    codes, hit = (_identify_scalar if scalar else _identify)(mi, stage.camera, world, stage.codes)
    return Traced(light=_bend(stage.camera, np.array(drawn, dtype=np.float32)), codes=codes, hit_mm=hit)


def _film(camera: Camera) -> tuple[int, int]:
    """Size of an undistorted picture, centred on the principal point, that covers the photo."""
    across, down = np.linspace(0, camera.width_px - 1, 50), np.linspace(0, camera.height_px - 1, 50)
    rows = [np.column_stack([across, np.full(50, y)]) for y in (down[0], down[-1])]
    columns = [np.column_stack([np.full(50, x), down]) for x in (across[0], across[-1])]
    bent = (np.concatenate(rows + columns) - [camera.cx_px, camera.cy_px]) / camera.focal_px
    reach = np.ceil(np.abs(undistort(camera, bent) * camera.focal_px).max(axis=0)) + 3
    return int(2 * reach[0]), int(2 * reach[1])


def _sensor(mi: Any, camera: Camera, samples: int) -> dict[str, Any]:
    width, height = _film(camera)
    pose = np.eye(4)
    rotation = np.asarray(camera.rotation)
    pose[:3, 0], pose[:3, 1], pose[:3, 2] = -rotation[0], -rotation[1], rotation[2]
    pose[:3, 3] = camera.position_mm
    film = {"type": "hdrfilm", "width": width, "height": height, "pixel_format": "rgb"}
    return {
        "type": "perspective",
        "fov": math.degrees(2 * math.atan(width / 2 / camera.focal_px)),
        "fov_axis": "x",
        "near_clip": 5.0,
        "far_clip": 20000.0,
        "to_world": mi.ScalarTransform4f(pose),
        "film": {**film, "rfilter": {"type": "box"}},
        "sampler": {"type": "multijitter", "sample_count": samples},
    }


def _pixels(camera: Camera, rows: NDArray[np.int64]) -> NDArray[np.float64]:
    x, y = np.meshgrid(np.arange(camera.width_px), rows)
    return np.column_stack([x.ravel(), y.ravel()]).astype(np.float64)


def _bend(camera: Camera, straight: Floats) -> Floats:
    """Resample the undistorted picture of light through the lens."""
    capped = np.minimum(straight, BRIGHTEST * float(np.median(straight)) + 1e-3)
    return _through_lens(camera, capped, cv2.INTER_CUBIC)


def _through_lens(camera: Camera, straight: Floats, how: int) -> Floats:
    middle = np.array([straight.shape[1] - 1, straight.shape[0] - 1]) / 2
    px = _pixels(camera, np.arange(camera.height_px))
    bent = (px - camera_matrix(camera)[:2, 2]) / camera.focal_px
    where = undistort(camera, bent) * camera.focal_px + middle
    grid = where.reshape(camera.height_px, camera.width_px, 2).astype(np.float32)
    return np.asarray(cv2.remap(straight, grid[..., 0], grid[..., 1], how), dtype=np.float32)


def _identify(
    mi: Any, camera: Camera, world: Any, known: dict[str, int]
) -> tuple[NDArray[np.uint8], Floats]:
    """Which shape's code, and which point, each pixel's central ray meets first."""
    codes = np.zeros((camera.height_px, camera.width_px), dtype=np.uint8)
    hit = np.zeros((camera.height_px, camera.width_px, 3), dtype=np.float32)
    shapes = [(shape, known[shape.id()]) for shape in world.shapes() if shape.id() in known]
    origin = mi.Point3f(*camera.position_mm)
    for rows in np.array_split(np.arange(camera.height_px), 8):
        toward = rays(camera, _pixels(camera, rows))
        ray = mi.Ray3f(origin, mi.Vector3f(toward.T.astype(np.float32)))
        found = world.ray_intersect_preliminary(ray, coherent=True)
        seen = np.zeros(len(toward), dtype=np.uint8)
        for shape, code in shapes:
            seen[np.array(found.is_valid() & (found.shape == mi.ShapePtr(shape)))] = code
        reach = np.array(found.t)[:, None]
        points = np.asarray(camera.position_mm) + toward * np.where(np.isfinite(reach), reach, 0.0)
        codes[rows] = seen.reshape(len(rows), -1)
        hit[rows] = points.reshape(len(rows), -1, 3)
    return codes, hit


def _identify_scalar(
    mi: Any, camera: Camera, world: Any, known: dict[str, int]
) -> tuple[NDArray[np.uint8], Floats]:
    """The same without vector rays: from one sample per pixel, so its edges may be half a pixel off.

    Shapes count from 1 here; 0 is nothing hit.
    """
    integrator = mi.load_dict({"type": "aov", "aovs": "position:position,shape:shape_index"})
    sensor = mi.load_dict(_sensor(mi, camera, 1))
    drawn = np.array(mi.render(world, sensor=sensor, integrator=integrator, spp=1), dtype=np.float32)
    seen = _through_lens(camera, np.ascontiguousarray(drawn[..., -4:]), cv2.INTER_NEAREST)
    index = seen[..., 3].round().astype(np.int64)
    table = np.array([0, *[known.get(shape.id(), 0) for shape in world.shapes()]], dtype=np.uint8)
    return table[index], np.ascontiguousarray(seen[..., :3])
