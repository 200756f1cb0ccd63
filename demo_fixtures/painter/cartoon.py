"""The shaded cartoon a painter works from: colour, object, turning and gloss at a coarse pitch."""

import math
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from demo_fixtures.painter.noise import fractal_noise, value_noise
from demo_fixtures.painter.scene import (
    FRONT,
    HANDLE,
    JUG,
    JUG_INSIDE,
    LINEN,
    NUTS,
    TABLE,
    WALL,
    build_scene,
    distance_mm,
    picture_ray,
)

__all__ = ["CARTOON_PITCH_MM", "Cartoon", "draw_cartoon"]

CARTOON_PITCH_MM = 0.5
_LIGHT = (-0.580, 0.610, 0.540)
# Two directions across the lamp, for its disc and for the window it is.
_ACROSS = (0.725, 0.689, 0.0)
_DOWN = (-0.372, 0.392, -0.842)
_LIGHT_RADIUS = 0.085
_SHADOW_RAYS = 9


class Cartoon(NamedTuple):
    """Arrays at the cartoon's pitch; colour is linear reflectance."""

    colour: NDArray[np.float32]
    kind: NDArray[np.int8]
    normal: NDArray[np.float32]
    gloss: NDArray[np.float32]


@njit(cache=True, nogil=True)
def _march(origin, direction, limit, scene):  # type: ignore[no-untyped-def]
    """Return travel, object number and whether a surface was met."""
    travel = 0.0
    kind = -1
    for _ in range(160):
        away, kind = distance_mm(
            origin[0] + travel * direction[0],
            origin[1] + travel * direction[1],
            origin[2] + travel * direction[2],
            scene,
        )
        if away < 0.02:
            return travel, kind, True
        travel += away
        if travel > limit:
            break
    return travel, kind, False


@njit(cache=True, nogil=True)
def _normal(point, scene):  # type: ignore[no-untyped-def]
    """Return the unit normal by central differences."""
    step = 0.12
    x, y, z = point
    nx = distance_mm(x + step, y, z, scene)[0] - distance_mm(x - step, y, z, scene)[0]
    ny = distance_mm(x, y + step, z, scene)[0] - distance_mm(x, y - step, z, scene)[0]
    nz = distance_mm(x, y, z + step, scene)[0] - distance_mm(x, y, z - step, scene)[0]
    length = math.sqrt(nx * nx + ny * ny + nz * nz) + 1e-12
    return nx / length, ny / length, nz / length


@njit(cache=True, nogil=True)
def _light_share(point, normal, scene):  # type: ignore[no-untyped-def]
    """Return the lit share of a disc-shaped lamp seen from a point."""
    lit = 0.0
    for number in range(_SHADOW_RAYS):
        # The first three rays go to the rim of the lamp; where they agree, the rest would too.
        if number == 3 and (lit == 0.0 or lit == 3.0):
            return lit / 3.0
        ray = (number + _SHADOW_RAYS - 3) % _SHADOW_RAYS
        angle = 2.399963 * ray
        radius = _LIGHT_RADIUS * math.sqrt((ray + 0.5) / _SHADOW_RAYS)
        a = math.cos(angle) * radius
        b = math.sin(angle) * radius
        dx = _LIGHT[0] + _ACROSS[0] * a + _DOWN[0] * b
        dy = _LIGHT[1] + _ACROSS[1] * a + _DOWN[1] * b
        dz = _LIGHT[2] + _DOWN[2] * b
        length = math.sqrt(dx * dx + dy * dy + dz * dz)
        direction = (dx / length, dy / length, dz / length)
        start = (point[0] + 0.5 * normal[0], point[1] + 0.5 * normal[1], point[2] + 0.5 * normal[2])
        travel = 0.0
        clear = 1.0
        for _ in range(60):
            away, _kind = distance_mm(
                start[0] + travel * direction[0],
                start[1] + travel * direction[1],
                start[2] + travel * direction[2],
                scene,
            )
            if away < 0.03:
                clear = 0.0
                break
            travel += max(away, 0.15)
            if travel > 420.0 or start[1] + travel * direction[1] > 230.0:
                break
        lit += clear
    return lit / _SHADOW_RAYS


@njit(cache=True, nogil=True)
def _occlusion(point, normal, scene):  # type: ignore[no-untyped-def]
    """Return how open the surroundings of a point are, 0..1."""
    closed = 0.0
    weight = 1.0
    for step in range(1, 5):
        reach = 4.0 * step * step * 0.6
        away = distance_mm(
            point[0] + normal[0] * reach, point[1] + normal[1] * reach, point[2] + normal[2] * reach, scene
        )[0]
        closed += weight * max(0.0, 1.0 - away / (reach * 0.62)) * 0.42
        weight *= 0.72
    return max(0.0, 1.0 - closed)


@njit(cache=True, nogil=True)
def _window_gloss(direction, normal, scene_point, scene):  # type: ignore[no-untyped-def]
    """Return the mirrored studio window on the glaze, with its glazing bars."""
    along = direction[0] * normal[0] + direction[1] * normal[1] + direction[2] * normal[2]
    rx = direction[0] - 2.0 * along * normal[0]
    ry = direction[1] - 2.0 * along * normal[1]
    rz = direction[2] - 2.0 * along * normal[2]
    facing = rx * _LIGHT[0] + ry * _LIGHT[1] + rz * _LIGHT[2]
    if facing < 0.2:
        return 0.0
    u = (rx * _ACROSS[0] + ry * _ACROSS[1]) / facing
    v = -(rx * _DOWN[0] + ry * _DOWN[1] + rz * _DOWN[2]) / facing
    if abs(u) > 0.36 or abs(v) > 0.20:
        return 0.0
    bars = min(abs(abs(u) - 0.12), abs(v - 0.015)) > 0.024
    fresnel = 0.05 + 0.35 * (1.0 + along) ** 4
    return fresnel * (1.0 if bars else 0.25)


@njit(cache=True, nogil=True)
def _albedo(kind, x, y, z, scene):  # type: ignore[no-untyped-def]
    """Return the local colour (linear) of a surface point."""
    seed = scene.seed
    if kind == WALL:
        mottle = 1.0 + 0.22 * fractal_noise(x * 0.011, y * 0.011, seed + 61, 3)
        warm = 0.06 * value_noise(x * 0.006, y * 0.006, seed + 62)
        return 0.235 * mottle * (1.0 + warm), 0.190 * mottle, 0.132 * mottle * (1.0 - warm)
    if kind in (TABLE, FRONT):
        depth = z if kind == TABLE else y * 2.2
        ring = depth * 0.13 + 1.6 * value_noise(x * 0.006, depth * 0.02, seed + 64)
        grain = 0.5 + 0.5 * math.sin(ring * 2.4 + 2.0 * value_noise(x * 0.011, ring * 0.5, seed + 65))
        streak = fractal_noise(x * 0.02, depth * 0.45, seed + 66, 3)
        shade = 0.80 + 0.22 * grain + 0.20 * streak
        plank = 0.94 if depth < scene.front_z - 150.0 else 1.04
        shade *= plank
        if kind == FRONT:
            shade *= 0.82
        return 0.335 * shade, 0.196 * shade, 0.094 * shade
    if kind == JUG_INSIDE:
        return 0.60, 0.55, 0.42
    if kind in (HANDLE, JUG):
        return _glaze(kind, x - scene.jug_x, y, z - scene.jug_z, seed)
    if kind == NUTS:
        spot = fractal_noise(x * 0.16, y * 0.16 + z * 0.1, seed + 70, 3)
        return 0.50 * (1.0 + 0.16 * spot), 0.335 * (1.0 + 0.20 * spot), 0.165 * (1.0 + 0.26 * spot)
    stripe = 1.0
    hang = -y if z > scene.front_z - 1.0 else 0.0
    if abs(hang - 58.0) < 1.6 or abs(hang - 63.5) < 0.9:
        stripe = 0.0
    tone = 0.71 + 0.03 * value_noise(x * 0.05, hang * 0.05 + z * 0.05, seed + 71)
    return tone * (0.40 + 0.60 * stripe), tone * (0.47 + 0.495 * stripe), tone * (0.60 + 0.27 * stripe)


@njit(cache=True, nogil=True)
def _glaze(kind, jx, y, jz, seed):  # type: ignore[no-untyped-def]
    """Return the blue glaze, its slip-trailed wave and the bare clay at the foot."""
    azimuth = math.atan2(jz, jx)
    pool = 1.0 + 0.22 * fractal_noise(azimuth * 2.2, y * 0.03, seed + 67, 3)
    if y < 7.0 + 1.2 * value_noise(azimuth * 4.0, 0.0, seed + 68) and kind == JUG:
        return 0.50, 0.43, 0.31
    rings = 1.0 - 0.42 * math.exp(-(((y - 117.0) / 1.6) ** 2)) - 0.42 * math.exp(-(((y - 46.0) / 1.4) ** 2))
    red, green, blue = 0.062 * pool * rings, 0.112 * pool * rings, 0.335 * pool * rings
    wave = 74.0 + 13.0 * math.sin(azimuth * 5.0)
    trail = math.exp(-(((y - wave) / (1.7 + 0.5 * value_noise(azimuth * 9.0, 3.0, seed + 69))) ** 2))
    trail = min(1.0, 0.62 * trail + 0.5 * math.exp(-(((y - 148.0 + wave) / 1.7) ** 2)))
    if kind == JUG and y > 30.0:
        red += (0.34 - red) * trail
        green += (0.38 - green) * trail
        blue += (0.46 - blue) * trail
    lip = max(0.0, (y - 199.0) / 6.0)
    if kind == JUG and lip > 0.0:
        red, green, blue = red + 0.05 * lip, green + 0.06 * lip, blue + 0.05 * lip
    return red, green, blue


@njit(cache=True, nogil=True)
def _grade(kind, x_mm, y_mm):  # type: ignore[no-untyped-def]
    """Return the painter's own weighting of light over the picture."""
    pool = math.exp(-(((x_mm - 402.0) / 165.0) ** 2) - (((y_mm - 138.0) / 92.0) ** 2))
    if kind == WALL:
        return 0.20 + 0.72 * pool + 0.10 * (x_mm / 640.0) - 0.10 * math.exp(-((x_mm / 120.0) ** 2))
    around = math.exp(-(((x_mm - 300.0) / 170.0) ** 2) - (((y_mm - 292.0) / 60.0) ** 2))
    if kind == TABLE:
        return 0.42 + 0.78 * around
    if kind == FRONT:
        return 0.42 + 0.20 * around
    if kind == NUTS and x_mm > 395.0:
        return 0.88
    if kind in (JUG, HANDLE):
        return 1.0 - 0.62 * min(max((x_mm - 120.0) / 115.0, 0.0), 1.0) ** 1.3
    return 1.0


@njit(cache=True, nogil=True)
def _shade_pixel(x_mm, y_mm, scene, out):  # type: ignore[no-untyped-def]
    """Write colour, normal, gloss into ``out`` and return the object number."""
    eye, direction = picture_ray(x_mm, y_mm)
    travel, kind, met = _march(eye, direction, 3200.0, scene)
    point = (eye[0] + travel * direction[0], eye[1] + travel * direction[1], eye[2] + travel * direction[2])
    if not met:
        kind = WALL
    normal = _normal(point, scene)
    cosine = max(0.0, normal[0] * _LIGHT[0] + normal[1] * _LIGHT[1] + normal[2] * _LIGHT[2])
    lit = _light_share(point, normal, scene) if cosine > 0.0 else 0.0
    opened = _occlusion(point, normal, scene)
    falloff = 1.12 - 0.42 * (x_mm / 640.0)
    key = 1.42 * cosine * lit * falloff
    if kind == WALL:
        key = 0.55 + 0.45 * lit
    fill = (0.065 + 0.035 * normal[1]) * opened
    front = max(0.0, 0.50 * normal[0] + 0.30 * normal[1] + 0.81 * normal[2])
    if kind == NUTS:
        fill *= 0.5
    fill += (0.19 if kind == NUTS else (0.085 if kind == LINEN else 0.02)) * front**3 * opened
    bounce = 0.075 * max(0.0, -normal[1] * 0.8 + 0.35) * opened if kind != WALL else 0.0
    red, green, blue = _albedo(kind, point[0], point[1], point[2], scene)
    grade = _grade(kind, x_mm, y_mm)
    out[0] = red * (key * 1.05 + fill * 0.85 + bounce * 1.5) * grade
    out[1] = green * (key * 0.98 + fill + bounce) * grade
    out[2] = blue * (key * 0.87 + fill * 1.25 + bounce * 0.6) * grade
    gloss = 0.0
    if kind in (JUG, HANDLE) or (kind == JUG_INSIDE and point[1] > 196.0):
        gloss = _window_gloss(direction, normal, point, scene) * _softened(lit)
        rim = (1.0 + direction[0] * normal[0] + direction[1] * normal[1] + direction[2] * normal[2]) ** 3
        out[0] += 0.028 * rim * opened * grade
        out[1] += 0.026 * rim * opened * grade
        out[2] += 0.024 * rim * opened * grade
    if kind == NUTS:
        half = (_LIGHT[0] - direction[0], _LIGHT[1] - direction[1], _LIGHT[2] - direction[2])
        size = math.sqrt(half[0] ** 2 + half[1] ** 2 + half[2] ** 2)
        gloss = 0.11 * lit * max(0.0, (half[0] * normal[0] + half[1] * normal[1] + half[2] * normal[2]) / size) ** 28
    out[3], out[4], out[5], out[6] = normal[0], normal[1], normal[2], gloss
    return kind


@njit(cache=True, nogil=True)
def _softened(lit):  # type: ignore[no-untyped-def]
    """Return a softened share of light: a mirror image stays visible in half shadow."""
    return 0.3 + 0.7 * lit


@njit(cache=True, nogil=True)
def _shade_rows(rows, pitch_mm, scene, out, kinds):  # type: ignore[no-untyped-def]
    """Shade whole rows of the cartoon."""
    for row in range(rows[0], rows[1]):
        for column in range(kinds.shape[1]):
            kinds[row, column] = _shade_pixel(
                (column + 0.5) * pitch_mm, (row + 0.5) * pitch_mm, scene, out[row, column]
            )


def draw_cartoon(seed: int, pitch_mm: float = CARTOON_PITCH_MM) -> Cartoon:
    """Return the cartoon of the painted surface, 640 x 480 mm."""
    scene = build_scene(seed)
    rows, columns = round(480.0 / pitch_mm), round(640.0 / pitch_mm)
    out = np.zeros((rows, columns, 7), np.float32)
    kinds = np.zeros((rows, columns), np.int8)
    starts = list(range(0, rows, 16))
    with ThreadPoolExecutor(2) as pool:
        for job in [
            pool.submit(_shade_rows, (start, min(start + 16, rows)), pitch_mm, scene, out, kinds) for start in starts
        ]:
            job.result()
    return Cartoon(
        np.ascontiguousarray(out[..., :3]),
        kinds,
        np.ascontiguousarray(out[..., 3:6]),
        np.ascontiguousarray(out[..., 6]),
    )
