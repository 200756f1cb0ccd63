"""The motif as signed distances: a table, a turned jug, three walnuts and a linen cloth.

World millimetres: X right, Y up, Z toward the viewer; the table top is Y = 0. One millimetre at the
target point is one millimetre of the painting.
"""

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from demo_fixtures.painter.noise import fractal_noise, value_noise

__all__ = [
    "CAMERA_DISTANCE_MM",
    "FRONT",
    "HANDLE",
    "JUG",
    "JUG_INSIDE",
    "LINEN",
    "NUTS",
    "TABLE",
    "WALL",
    "Scene",
    "build_scene",
    "distance_mm",
    "picture_ray",
    "table_point",
]

WALL, TABLE, FRONT, JUG, JUG_INSIDE, HANDLE, NUTS, LINEN = range(8)
CAMERA_DISTANCE_MM = 1800.0
_PITCH_RAD = math.radians(21.0)
_ROLL_RAD = math.radians(0.32)
_SIN, _COS = math.sin(_PITCH_RAD), math.cos(_PITCH_RAD)
_ROLL_SIN, _ROLL_COS = math.sin(_ROLL_RAD), math.cos(_ROLL_RAD)
_JUG_HEIGHT_MM = 205.0
_PROFILE_MM = [
    (0, 41),
    (4, 43),
    (9, 41),
    (18, 44.5),
    (35, 55),
    (60, 66.5),
    (84, 71),
    (104, 69.5),
    (124, 62),
    (142, 51),
    (158, 42.5),
    (172, 38.5),
    (184, 39.5),
    (194, 43.5),
    (201, 46.5),
    (205, 46.8),
]
# Centre line of the handle in the plane through the jug's axis: distance from the axis, height.
_HANDLE_MM = [(39.8, 186.0), (55.8, 190.5), (68.8, 175.0), (70.3, 147.0), (68.8, 125.0), (63.8, 104.0)]


class Scene(NamedTuple):
    """Numbers the distance functions need."""

    jug_x: float
    jug_z: float
    radii: NDArray[np.float64]
    handle: NDArray[np.float64]
    nuts: NDArray[np.float64]
    back_z: float
    front_z: float
    linen: NDArray[np.float64]
    seed: int


@njit(cache=True, nogil=True)
def picture_ray(x_mm, y_mm):  # type: ignore[no-untyped-def]
    """Return eye and direction of the ray through a picture point."""
    right = x_mm - 320.0
    down = y_mm - 240.0
    across = right * _ROLL_COS - down * _ROLL_SIN
    up = -(right * _ROLL_SIN + down * _ROLL_COS)
    eye = (320.0, _SIN * CAMERA_DISTANCE_MM, _COS * CAMERA_DISTANCE_MM)
    dx = across
    dy = up * _COS - _SIN * CAMERA_DISTANCE_MM
    dz = -up * _SIN - _COS * CAMERA_DISTANCE_MM
    length = math.sqrt(dx * dx + dy * dy + dz * dz)
    return eye, (dx / length, dy / length, dz / length)


def table_point(x_mm: float, y_mm: float) -> tuple[float, float]:
    """Return X and Z of the table point seen at a picture point."""
    eye, direction = picture_ray(x_mm, y_mm)
    travel = -eye[1] / direction[1]
    return eye[0] + travel * direction[0], eye[2] + travel * direction[2]


def _spline(points: list[tuple[float, float]], count: int) -> NDArray[np.float64]:
    """Return evenly numbered points of a Catmull-Rom curve through the given points."""
    knots = np.array(points, dtype=float)
    padded = np.vstack([2 * knots[0] - knots[1], knots, 2 * knots[-1] - knots[-2]])
    place = np.linspace(0, len(knots) - 1 - 1e-9, count)
    index = place.astype(int)
    t = (place - index)[:, None]
    a, b, c, d = (padded[index + offset] for offset in range(4))
    curve: NDArray[np.float64] = 0.5 * (
        2 * b + (c - a) * t + (2 * a - 5 * b + 4 * c - d) * t**2 + (3 * b - a - 3 * c + d) * t**3
    )
    return curve


def build_scene(seed: int) -> Scene:
    """Return the motif with each thing at its wanted place in the picture."""
    heights, radii = np.array(_PROFILE_MM, dtype=float).T
    table = PchipInterpolator(heights, radii)(np.linspace(0, _JUG_HEIGHT_MM, 412))
    jug_x, jug_z = table_point(155.0, 312.0)
    nuts = []
    for x_mm, y_mm, radius, turn, tilt in (
        (303, 281, 24.5, 0.5, 0.35),
        (356, 299, 23.0, -0.9, 0.2),
        (428.5, 229, 19.5, 2.2, -0.3),
    ):
        x, z = table_point(x_mm, y_mm)
        nuts.append((x, radius * 0.93, z - 6.0, radius, turn, tilt))
    corners = [table_point(*corner) for corner in ((412, 292), (478, 283), (585, 306), (596, 349.2), (455, 350.0))]
    front_z = table_point(320.0, 350.6)[1]
    return Scene(
        jug_x,
        jug_z,
        table,
        _spline(_HANDLE_MM, 26),
        np.array(nuts),
        table_point(320.0, 195.5)[1],
        front_z,
        np.array(corners),
        seed,
    )


@njit(cache=True, nogil=True)
def _jug_mm(x, y, z, scene):  # type: ignore[no-untyped-def]
    """Return distance to the wall of the jug (spout and throwing rings included) and 1 when inside."""
    radial = math.sqrt(x * x + z * z)
    place = y * 2.0
    index = int(min(max(place, 0.0), 409.0))
    share = min(max(place - index, 0.0), 1.0)
    radius = scene.radii[index] + (scene.radii[index + 1] - scene.radii[index]) * share
    azimuth = math.atan2(z * 0.94 + x * 0.34, -x * 0.94 + z * 0.34)
    rim = max(0.0, (y - 150.0) / 55.0)
    pull = math.exp(-((azimuth / 0.40) ** 2))
    radius += 17.0 * pull * rim * rim
    top = 205.0 + 5.0 * pull * min(1.0, radial / 40.0) - 1.2 * math.exp(-(((azimuth - 0.9) / 0.4) ** 2))
    radius += 0.022 * math.sin(y * 1.05 + 0.6 * math.sin(azimuth)) + 0.05 * value_noise(azimuth * 3.0, y * 0.2, 11)
    thickness = 2.6 + 0.7 * max(0.0, (y - 190.0) / 15.0)
    wall = abs(radial - radius + thickness) - thickness
    inside = radial < radius - thickness
    if y < 12.0 and inside:
        wall = 12.0 - y if y > 6.0 else -1.0
        wall = y - 12.0
    distance = max(wall, y - top) if y > top - 3.0 else wall
    if y > top - 3.0:
        # A rounded lip instead of a sharp edge.
        across = radial - radius + thickness
        over = y - (top - 3.0)
        distance = math.sqrt(across * across + over * over) - thickness
    if y < 0.0:
        distance = max(distance, -y)
    return distance * 0.72, inside


@njit(cache=True, nogil=True)
def _handle_mm(x, y, z, scene):  # type: ignore[no-untyped-def]
    """Return distance to the strap handle."""
    best = 1e9
    for k in range(scene.handle.shape[0] - 1):
        ax = scene.handle[k, 0]
        ay = scene.handle[k, 1]
        bx = scene.handle[k + 1, 0] - ax
        by = scene.handle[k + 1, 1] - ay
        share = min(max(((x - ax) * bx + (y - ay) * by) / (bx * bx + by * by), 0.0), 1.0)
        place = (k + share) / (scene.handle.shape[0] - 1)
        dx = x - ax - bx * share
        dy = y - ay - by * share
        radius = 7.4 - 1.6 * math.sin(place * 3.1) + 2.2 * max(0.0, 0.12 - place) / 0.12
        away = math.sqrt(dx * dx + dy * dy + z * z * 0.42) - radius
        if away < best:
            best = away
    return best * 0.9


@njit(cache=True, nogil=True)
def _nut_mm(x, y, z, nut, seed):  # type: ignore[no-untyped-def]
    """Return distance to one walnut: an ellipsoid with a seam and wrinkled meridians."""
    radius = nut[3]
    turn_cos, turn_sin = math.cos(nut[4]), math.sin(nut[4])
    tilt_cos, tilt_sin = math.cos(nut[5]), math.sin(nut[5])
    u = x * turn_cos + z * turn_sin
    w = -x * turn_sin + z * turn_cos
    v = y * tilt_cos - u * tilt_sin
    u = y * tilt_sin + u * tilt_cos
    scaled = math.sqrt((u / 1.17) ** 2 + v * v / 0.90 + w * w)
    base = scaled - radius
    if base > 4.0:
        return base * 0.75
    longitude = math.atan2(v, w)
    latitude = math.atan2(u, math.sqrt(v * v + w * w))
    seam = math.exp(-((w / 1.5) ** 2))
    wander = 0.7 * value_noise(longitude * 1.7, latitude * 2.1, seed + 5)
    ridge = 1.0 - abs(value_noise(longitude * 3.4 + wander, latitude * 2.0 + 3.0, seed))
    fine = 1.0 - abs(value_noise(longitude * 7.5 + 2.0 * wander, latitude * 4.6, seed + 1))
    ends = math.cos(latitude) ** 0.6
    relief = (2.3 * ridge * ridge + 0.95 * fine * fine - 1.7) * ends * (1.0 - 0.7 * seam)
    groove = 0.9 * math.exp(-((w / 0.5) ** 2))
    return (base - relief - 1.7 * seam + groove) * 0.52


@njit(cache=True, nogil=True)
def _linen_mm(x, y, z, scene):  # type: ignore[no-untyped-def]
    """Return distance to the cloth: one part on the table, one hanging over the edge."""
    edge_z = scene.front_z
    along = x * 0.045 + 0.5 * value_noise(x * 0.012, z * 0.012, scene.seed + 31)
    fold = math.sin(along * 2.0 - z * 0.012)
    fold = math.copysign(abs(fold) ** 1.5, fold)
    crumple = fractal_noise(x * 0.035, (z - y) * 0.03, scene.seed + 33, 3)
    hang = edge_z + 3.0 + (3.0 + 8.0 * min(1.0, max(-y, 0.0) / 60.0)) * (1.0 + fold) + 2.2 * crumple
    lying = (
        2.2 + (1.0 + 4.2 * min(1.0, max(edge_z - z, 0.0) / 60.0)) * (1.0 + 0.8 * fold) + 4.5 * max(0.0, crumple + 0.2)
    )
    # A ridge pushed up where the cloth was dropped.
    lying += (
        9.0
        * math.exp(-(((x - 482.0 - 0.12 * (z - edge_z)) / 10.0) ** 2))
        * math.exp(-(((z - edge_z + 92.0) / 60.0) ** 2))
    )
    top = max(abs(y - lying) - 0.7, z - hang)
    front = max(abs(z - hang) - 0.7, y - lying)
    left = 455.0 + 4.0 * crumple
    right = 584.0 + 3.0 * fold + (y * 0.05 if y < 0.0 else (edge_z - z) * -0.09)
    hem = -82.0 - 0.17 * (x - 455.0) + 6.0 * fold
    if z < edge_z:
        left = 455.0 - (edge_z - z) * 0.42 + 3.0 * crumple
    back = edge_z - 172.0 + 0.52 * abs(x - 478.0) * (0.55 if x > 478.0 else 1.35) + 4.0 * crumple
    sheet = min(top, front)
    sheet = max(sheet, max(left - x, x - right))
    sheet = max(sheet, max(hem - y, back - z))
    return sheet * 0.5


@njit(cache=True, nogil=True)
def distance_mm(x, y, z, scene):  # type: ignore[no-untyped-def]
    """Return a safe distance to the nearest surface and its object number."""
    best = z - scene.back_z
    kind = WALL
    # Table slab with a small bevel; the apron below stands 9 mm further back.
    over = z - scene.front_z
    bevel = (y + over) * 0.7071 + 1.6
    slab = max(max(y, over), bevel)
    slab = max(slab, -16.0 - y)
    apron = over + 9.0
    table = min(slab, max(apron, y + 10.0))
    if table < best:
        best = table
        kind = TABLE if y > -2.6 and over < -2.2 else FRONT
    jx = x - scene.jug_x
    jz = z - scene.jug_z
    bound = math.sqrt(jx * jx + jz * jz + (y - 102.0) ** 2) - 135.0
    if bound < best:
        if bound > 8.0:
            best = bound
            kind = JUG
        else:
            jug, inside = _jug_mm(jx, y, jz, scene)
            handle = _handle_mm(jx, y, jz, scene)
            blend = max(5.0 - abs(jug - handle), 0.0) / 5.0
            joined = min(jug, handle) - blend * blend * 1.25
            if inside:
                joined = jug
            if joined < best:
                best = joined
                kind = JUG_INSIDE if inside else (HANDLE if handle < jug else JUG)
    for index in range(scene.nuts.shape[0]):
        nut = scene.nuts[index]
        nx = x - nut[0]
        ny = y - nut[1]
        nz = z - nut[2]
        bound = math.sqrt(nx * nx + ny * ny + nz * nz) - nut[3] * 1.35
        if bound < best:
            if bound > 5.0:
                best = bound
                kind = NUTS
            else:
                away = _nut_mm(nx, ny, nz, nut, scene.seed + 40 + 3 * index)
                if away < best:
                    best = away
                    kind = NUTS
    if x > 370.0 and x < 640.0 and z > scene.front_z - 220.0 and z < scene.front_z + 40.0 and y < 60.0:
        away = _linen_mm(x, y, z, scene)
        if away < best:
            best = away
            kind = LINEN
    else:
        bound = max(max(370.0 - x, x - 640.0), max(scene.front_z - 220.0 - z, z - scene.front_z - 40.0))
        bound = max(bound, y - 60.0) + 4.0
        if bound < best:
            best = bound
            kind = LINEN
    return best, kind
