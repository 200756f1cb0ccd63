"""Two modalities of one invented painting, drawn with a known shift between them."""

import cv2
import numpy as np

FINE = 4


def pair(*, side=512, seed=1, shift_px=(0.0, 0.0), turn_deg=0.0, noise=0.02):
    """Return visible and radiograph-like pictures; shifts are whole quarters of a pixel.

    The shapes are shared, their values are not: many are reversed in contrast, a third is
    missing in one of the two, and each has a texture of its own.
    """
    generator = np.random.default_rng(seed)
    fine = side * FINE
    reference = np.full((fine, fine), 0.5, np.float32)
    moving = np.full((fine, fine), 0.4, np.float32)
    turn = cv2.getRotationMatrix2D((fine / 2, fine / 2), turn_deg, 1.0)
    turn[:, 2] += np.array(shift_px) * FINE
    for _ in range(90):
        middle = generator.uniform(0, fine, 2)
        corners = generator.uniform(-1, 1, (7, 2)) * generator.uniform(0.03, 0.16) * fine
        shape = cv2.convexHull((middle + corners).astype(np.float32)).reshape(-1, 2)
        draw(reference, shape, generator.uniform(0.1, 0.9), chance=generator.uniform())
        draw(moving, shape @ turn[:, :2].T + turn[:, 2], generator.uniform(0, 1),
             chance=generator.uniform())  # fmt: skip
    for _ in range(40):
        steps = generator.normal(0, 14, (30, 2)).cumsum(axis=0) * FINE / 4
        line = generator.uniform(0, fine, 2) + steps
        stroke(reference, line, 0.1)
        stroke(moving, line @ turn[:, :2].T + turn[:, 2], 0.9)
    found = []
    for picture in (reference, moving):
        small = cv2.resize(picture, (side, side), interpolation=cv2.INTER_AREA)
        own = cv2.GaussianBlur(np.asarray(generator.normal(0, 1, small.shape), dtype=np.float32), (0, 0), 6)
        small += 0.3 * own + np.asarray(generator.normal(0, noise, small.shape), dtype=np.float32)
        found.append(np.asarray(np.clip(small * 40_000 + 8_000, 0, 65_535), dtype=np.uint16))
    return found


def draw(picture, shape, value, *, chance):
    if chance > 1 / 3:
        cv2.fillPoly(picture, [np.rint(shape).astype(np.int32)], float(value))


def stroke(picture, line, value):
    cv2.polylines(picture, [np.rint(line).astype(np.int32)], False, value, thickness=FINE + 2)
