"""Tables of where frame points lie in an image: the exact lattice and picked control points."""

import csv
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from demo_fixtures.painter import motif
from demo_fixtures.painter.camera import Camera
from demo_fixtures.painter.images import image_spec
from demo_fixtures.painter.plan import Plan

__all__ = [
    "ControlPoint",
    "control_points",
    "named_points",
    "named_points_in_image",
    "write_control_points",
    "write_truth",
]

_PICK_SD_PX = 0.3
ControlPoint = tuple[str, float, float, float, float, str]


def write_truth(path: Path, camera: Camera, *, step_px: int = 32) -> int:
    """Write the exact map on a lattice of image pixels (finer for small images); return the rows."""
    width, height = camera.size_px
    step = min(step_px, max(4, int(min(width, height) / 21)))
    if width * height / step**2 > 40000:
        step = int(np.sqrt(width * height / 40000))
    columns = np.arange(step / 2, width, step)
    rows = np.arange(step / 2, height, step)
    wanted = np.stack(np.meshgrid(columns, rows), axis=-1).reshape(-1, 2)
    points_mm = camera.mm_from_px(wanted)
    points_px = camera.px_from_mm(points_mm)
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["frame_x_mm", "frame_y_mm", "image_x_px", "image_y_px"])
        for mm, px in zip(points_mm, points_px, strict=True):
            writer.writerow([f"{mm[0]:.6f}", f"{mm[1]:.6f}", f"{px[0]:.5f}", f"{px[1]:.5f}"])
    return len(points_mm)


def named_points() -> dict[str, tuple[float, float]]:
    """Return the vertices of the scenario's annotations and the registration crosses, in frame mm."""
    shapes = {
        "A1": motif.JOIN_MM,
        "A2": motif.CRACK_A2_MM,
        "A3": motif.CUPPING_MM,
        "A5": motif.OVERPAINT_MM,
        "A6": motif.TABLE_EDGE_MM,
        "A7": ((motif.DRAWN_HANDLE_X_MM, motif.HANDLE_Y_MM), (motif.PAINTED_HANDLE_X_MM, motif.HANDLE_Y_MM)),
        "A8": motif.CANDLESTICK_MM,
        "A9": motif.FIRST_LIP_MM,
        "A11": motif.BLANCHING_MM,
        "A12": motif.TEST_WINDOW_MM,
        "A10": tuple(hole[:2] for hole in motif.exit_holes_mm()),
        "cross": motif.REGISTRATION_CROSSES_MM,
    }
    points = {f"{name}-{number}": point for name, shape in shapes.items() for number, point in enumerate(shape, 1)}
    for index, loss in enumerate(motif.LOSSES_MM):
        points.update({f"A4-{chr(97 + index)}{number}": point for number, point in enumerate(loss, 1)})
    return points


def named_points_in_image(name: str, size: str) -> dict[str, tuple[float, float]]:
    """Return where the named points lie in an image, in its pixels; those outside it are left out."""
    camera = image_spec(name).camera(size)
    points = named_points()
    seen = camera.px_from_mm(np.array(list(points.values())))
    width, height = camera.size_px
    return {
        label: (float(x), float(y))
        for label, (x, y) in zip(points, seen, strict=True)
        if 0 <= x <= width and 0 <= y <= height
    }


def _spread(points_mm: NDArray[np.float64], count: int) -> NDArray[np.intp]:
    """Return indices of points that lie far from each other."""
    chosen = [int(np.abs(points_mm - points_mm.mean(axis=0)).sum(axis=1).argmin())]
    away = np.full(len(points_mm), np.inf)
    while len(chosen) < min(count, len(points_mm)):
        away = np.minimum(away, np.hypot(*(points_mm - points_mm[chosen[-1]]).T))
        chosen.append(int(away.argmax()))
    return np.array(chosen)


def control_points(plan: Plan, camera: Camera, *, name: str, count: int = 56) -> list[ControlPoint]:
    """Return picked features of an image: crosses, exit holes and crack junctions.

    Each is picked with a standard deviation of 0.3 px in the image; about a third are held out as
    check points. Labels and frame points agree between images.
    """
    junctions = plan.cracks.junctions_mm.astype(np.float64)
    low, high = _frame_window(camera)
    junctions = junctions[((junctions > low + 1.0) & (junctions < high - 1.0)).all(axis=1)]
    fixed = [(f"cross-{k}", *point) for k, point in enumerate(motif.REGISTRATION_CROSSES_MM, 1)]
    fixed += [(f"hole-{k}", hole[0], hole[1]) for k, hole in enumerate(motif.exit_holes_mm(), 1)]
    fixed = [item for item in fixed if low[0] < item[1] < high[0] and low[1] < item[2] < high[1]]
    wanted = max(count - len(fixed), 0)
    picked = (
        [(f"junction-{int(x * 100):05d}-{int(y * 100):05d}", x, y) for x, y in junctions[_spread(junctions, wanted)]]
        if len(junctions)
        else []
    )
    rows = fixed + picked
    exact = camera.px_from_mm(np.array([row[1:] for row in rows]))
    random = np.random.default_rng([plan.seed, 61, sum(name.encode())])
    seen = exact + _PICK_SD_PX * random.standard_normal(exact.shape)
    return [
        (label, x, y, px[0], px[1], "check" if index % 3 == 2 else "control")
        for index, ((label, x, y), px) in enumerate(zip(rows, seen, strict=True))
    ]


def _frame_window(camera: Camera) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the corners of the frame area an image covers."""
    width, height = camera.size_px
    corners = camera.mm_from_px(np.array([[0, 0], [width, 0], [width, height], [0, height]], dtype=float))
    return corners.min(axis=0), corners.max(axis=0)


def write_control_points(path: Path, points: list[ControlPoint]) -> None:
    """Write picked points as a table."""
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["label", "frame_x_mm", "frame_y_mm", "image_x_px", "image_y_px", "kind"])
        for label, x, y, px, py, kind in points:
            writer.writerow([label, f"{x:.4f}", f"{y:.4f}", f"{px:.4f}", f"{py:.4f}", kind])
