"""How hard the pictures are: figures that show the demonstration does not make registration easy.

Naive registration of a visible image and a radiograph should fail; the underdrawing should be out
of reach in visible light; varnish should leave no trace in a radiograph.
"""

from collections.abc import Iterable
from typing import Any, NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from demo_fixtures.painter.camera import Camera
from demo_fixtures.painter.compose import compose_infrared, compose_visible, compose_xray
from demo_fixtures.painter.images import image_spec
from demo_fixtures.painter.motif import CANDLESTICK_MM
from demo_fixtures.painter.photograph import Exposure, expose_block
from demo_fixtures.painter.pigments import lab_from_linear
from demo_fixtures.painter.plan import Plan, build_plan
from demo_fixtures.painter.raster import RASTER_ORIGIN_MM, RASTER_SIZE_MM, Raster
from demo_fixtures.painter.region import Scene, build_scene, open_region
from demo_fixtures.painter.strokes import CHARCOAL

__all__ = ["Hardness", "measure_hardness", "measure_seed", "naive_errors_px"]

_EXPOSURE = 1.62


class Hardness(NamedTuple):
    """Figures of one seed; errors in px of the visible image, differences in L* or reflectance."""

    seed: int
    sift_error_px: float
    ecc_error_px: float
    sift_infrared_error_px: float
    drawing_visible_mean_l: float
    drawing_visible_p99_l: float
    drawing_infrared_mean: float
    drawing_infrared_p95: float
    varnish_xray_max: float
    candle_visible_l: float
    candle_visible_sd_l: float
    candle_xray: float
    candle_xray_sd: float

    @property
    def naive_fails(self) -> bool:
        """Return whether both naive ways miss the radiograph by more than 3 px."""
        return self.sift_error_px > 3.0 and self.ecc_error_px > 3.0


def _pitch_scene(plan: Plan, pitch_mm: float, hidden: NDArray[np.bool_] | None = None) -> Scene:
    """Return the whole painting at a coarse pitch, in memory."""
    raster = Raster(plan, pitch_mm=pitch_mm, folder=None, window_mm=(*RASTER_ORIGIN_MM, *RASTER_SIZE_MM))
    raster.hidden = hidden
    raster.paint(lambda _share: None)
    return build_scene(plan, raster)


def _eight_bit(scene: Scene, name: str, camera: Camera) -> NDArray[np.uint8]:
    """Return a grey 8-bit picture of an image with its noise."""
    exposure = Exposure(image_spec(name), camera, scene.plan.seed)
    pixels = expose_block(scene, exposure, left_px=0, top_px=0, size_px=camera.size_px)
    grey = pixels.mean(axis=2) if pixels.ndim == 3 else pixels.astype(np.float64)
    return np.clip(grey / 257.0, 0, 255).astype(np.uint8)


def _corner_error_px(matrix: NDArray[np.float64] | None, reference: Camera, moving: Camera) -> float:
    """Return the median error of a 2 x 3 map from reference to moving pixels; infinite without a map."""
    if matrix is None or not np.isfinite(matrix).all():
        return float("inf")
    points_mm = np.stack(np.meshgrid(np.linspace(30, 610, 9), np.linspace(30, 450, 7)), axis=-1).reshape(-1, 2)
    seen = reference.px_from_mm(points_mm) @ matrix[:, :2].T + matrix[:, 2]
    return float(np.median(np.hypot(*(seen - moving.px_from_mm(points_mm)).T)))


def _sift_map(reference: NDArray[np.uint8], moving: NDArray[np.uint8]) -> NDArray[np.float64] | None:
    """Return an affine map by SIFT, ratio test 0.8 and RANSAC."""
    sift = cv2.SIFT_create(6000)  # type: ignore[attr-defined]
    here, described_here = sift.detectAndCompute(reference, None)
    there, described_there = sift.detectAndCompute(moving, None)
    pairs = cv2.BFMatcher(cv2.NORM_L2).knnMatch(described_here, described_there, k=2)
    good = [pair[0] for pair in pairs if len(pair) == 2 and pair[0].distance < 0.8 * pair[1].distance]
    if len(good) < 4:
        return None
    source = np.array([here[match.queryIdx].pt for match in good], np.float32)
    target = np.array([there[match.trainIdx].pt for match in good], np.float32)
    found: Any = cv2.estimateAffine2D(source, target, method=cv2.RANSAC, ransacReprojThreshold=3.0)[0]
    return None if found is None else np.asarray(found, np.float64)


def _ecc_map(reference: NDArray[np.uint8], moving: NDArray[np.uint8]) -> NDArray[np.float64] | None:
    """Return an affine map by maximising the enhanced correlation from identity."""
    start = np.eye(2, 3, dtype=np.float32)
    criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 60, 1e-5)
    try:
        _, matrix = cv2.findTransformECC(reference, moving, start, cv2.MOTION_AFFINE, criteria, None, 5)  # type: ignore[call-overload]
    except cv2.error:
        return None
    return np.asarray(matrix, np.float64)


def naive_errors_px(scene: Scene, seed: int) -> tuple[float, float, float]:
    """Return the best error of SIFT and of ECC against a radiograph, and of SIFT against the infrared.

    The radiograph is given upright, at the right scale within 2 %, shifted by 8-15 mm and turned by
    up to 1.5 degrees, in both polarities: an easier case than the demonstration's own file.
    """
    random = np.random.default_rng([seed, 91])
    pitch = scene.raster.pitch_mm
    size_px = (int(660 / pitch), int(500 / pitch))
    reference = Camera(size_px, pitch)
    shift = random.uniform(8, 15, 2) * random.choice([-1, 1], 2)
    moving = Camera(
        size_px,
        pitch * random.uniform(0.98, 1.02),
        (320 + shift[0], 240 + shift[1]),
        random.uniform(-1.5, 1.5),
        enlargement=1000.0 / 979.0,
    )
    visible = _eight_bit(scene, "vis-bt-v2", reference)
    radiograph = _eight_bit(scene, "xr-bt", moving)
    both = (radiograph, 255 - radiograph)
    sift = min(_corner_error_px(_sift_map(visible, picture), reference, moving) for picture in both)
    ecc = min(_corner_error_px(_ecc_map(visible, picture), reference, moving) for picture in both)
    infrared = _eight_bit(scene, "irr-bt", reference)
    control = _corner_error_px(_sift_map(visible, infrared), reference, reference)
    return sift, ecc, control


def _drawing_figures(plan: Plan, scene: Scene) -> tuple[float, float, float, float]:
    """Return what the underdrawing changes in visible light (L*) and in the infrared where it lies."""
    hidden = np.zeros(8, np.bool_)
    hidden[CHARCOAL] = True
    without = _pitch_scene(plan, scene.raster.pitch_mm, hidden)
    size = (scene.raster.columns, scene.raster.rows)
    regions = [open_region(each, "before", column=0, row=0, size=size) for each in (scene, without)]
    tone = [lab_from_linear(np.clip(compose_visible(region) * _EXPOSURE, 0, 1))[..., 0] for region in regions]
    infrared = [compose_infrared(region)[..., 0] for region in regions]
    change = np.abs(infrared[0] - infrared[1])
    drawn = change > 0.02
    difference = np.abs(tone[0] - tone[1])[drawn]
    return (
        float(difference.mean()),
        float(np.quantile(difference, 0.99)),
        float(change[drawn].mean()),
        float(np.quantile(change[drawn], 0.95)),
    )


def _candle_figures(scene: Scene) -> tuple[float, float, float, float]:
    """Return candlestick minus surrounding ring, and the ring's spread, in L* and in absorption."""
    raster = scene.raster
    region = open_region(scene, "before", column=0, row=0, size=(raster.columns, raster.rows))
    corners = (np.array(CANDLESTICK_MM) - raster.origin_mm) / raster.pitch_mm
    inside = np.zeros((raster.rows, raster.columns), np.uint8)
    cv2.fillPoly(inside, [np.rint(corners).astype(np.int32)], 1)
    width = int(12 / raster.pitch_mm) * 2 + 1
    ring = (cv2.dilate(inside, np.ones((width, width))) == 1) & (inside == 0)
    tone = lab_from_linear(np.clip(compose_visible(region) * _EXPOSURE, 0, 1))[..., 0]
    dense = compose_xray(region)[..., 0]
    middle = inside == 1
    return (
        float(tone[middle].mean() - tone[ring].mean()),
        float(tone[ring].std()),
        float(dense[middle].mean() - dense[ring].mean()),
        float(dense[ring].std()),
    )


def _varnish_in_xray(scene: Scene) -> float:
    """Return the largest change of absorption by taking varnish off, away from losses and overpaint."""
    size = (scene.raster.columns, scene.raster.rows)
    before, after = (open_region(scene, state, column=0, row=0, size=size) for state in ("before", "after"))
    untouched = (before.later == 0) & (before.loss == 0) & (before.hole == 0)
    return float(np.abs(compose_xray(before) - compose_xray(after))[untouched].max())


def measure_seed(seed: int, *, pitch_mm: float = 0.5, plan: Plan | None = None) -> Hardness:
    """Return the figures of one seed (about half a minute)."""
    chosen = build_plan(seed) if plan is None else plan
    scene = _pitch_scene(chosen, pitch_mm)
    sift, ecc, control = naive_errors_px(scene, seed)
    return Hardness(
        seed, sift, ecc, control, *_drawing_figures(chosen, scene), _varnish_in_xray(scene), *_candle_figures(scene)
    )


def measure_hardness(seeds: Iterable[int] = range(1, 21), *, pitch_mm: float = 0.5) -> list[Hardness]:
    """Return the figures of several seeds."""
    return [measure_seed(seed, pitch_mm=pitch_mm) for seed in seeds]
