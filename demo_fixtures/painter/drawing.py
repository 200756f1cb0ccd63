"""What lies under the paint and on top of it: priming, charcoal, first ideas, later hands."""

import cv2
import numpy as np
from numpy.typing import NDArray

from demo_fixtures.painter import motif
from demo_fixtures.painter.cartoon import CARTOON_PITCH_MM, Cartoon
from demo_fixtures.painter.passes import Studio
from demo_fixtures.painter.pigments import Palette, film_of, lab_from_linear, palette_of
from demo_fixtures.painter.scene import HANDLE, JUG, JUG_INSIDE, LINEN, NUTS, TABLE
from demo_fixtures.painter.strokes import (
    BRUSH,
    CANDLESTICK,
    CHARCOAL,
    FIRST_LIP,
    OVERPAINT,
    PATH_POINTS,
    RETOUCH,
    Marking,
    Strokes,
    concatenate_strokes,
    make_strokes,
)

__all__ = ["draw_first_ideas", "draw_priming", "draw_underdrawing", "lay_later_paint"]


def _resample(line: NDArray[np.float64], count: int = PATH_POINTS) -> NDArray[np.float32]:
    """Return evenly spaced points of a polyline."""
    step = np.hypot(*np.diff(line, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(step)])
    wanted = np.linspace(0.0, along[-1], count)
    return np.stack([np.interp(wanted, along, line[:, axis]) for axis in (0, 1)], axis=1).astype(np.float32)


def _strokes_from(lines: list[NDArray[np.float32]], marking: Marking) -> Strokes:
    """Return strokes from resampled lines."""
    paths = np.stack(lines) if lines else np.zeros((0, PATH_POINTS, 2), np.float32)
    return make_strokes(paths, np.full(len(paths), PATH_POINTS, np.int32), marking=marking)


def draw_priming(studio: Studio) -> None:
    """Brush on the lead-white priming, nearly all of it one way."""
    random = studio.random
    centre = random.random((1000, 2)) * (660.0, 500.0) - 10.0
    angle = -0.5 + 0.13 * random.standard_normal(1000)
    length = 60.0 * np.exp(0.4 * random.standard_normal(1000))
    bow = 5.0 * random.standard_normal(1000)
    place = np.linspace(-0.5, 0.5, PATH_POINTS)
    along = place[None, :] * length[:, None]
    across = bow[:, None] * (0.25 - place[None, :] ** 2)
    cos, sin = np.cos(angle)[:, None], np.sin(angle)[:, None]
    paths = np.stack([centre[:, :1] + along * cos - across * sin, centre[:, 1:] + along * sin + across * cos], axis=2)
    film = studio.add_films(film_of(lead_white=0.9, yellow_ochre=0.1))
    marking = Marking(random.uniform(5, 13, 1000), 3.4, 0.35, film, BRUSH, studio.seed * 31 + 1001)
    studio.parts.append(make_strokes(paths.astype(np.float32), np.full(1000, PATH_POINTS, np.int32), marking=marking))


def _outlines(mask: NDArray[np.bool_]) -> list[NDArray[np.float64]]:
    """Return the smoothed outlines of a mask in mm."""
    smooth = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), 2.0)
    contours, _ = cv2.findContours((smooth > 0.5).astype(np.uint8), cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    return [(line[:, 0, :].astype(np.float64) + 0.5) * CARTOON_PITCH_MM for line in contours if len(line) > 60]


def _broken(line: NDArray[np.float64], random: np.random.Generator, sway_mm: float) -> list[NDArray[np.float32]]:
    """Return an outline as a draughtsman's separate pulls: overlaps, gaps, second tries."""
    step = np.hypot(*np.diff(line, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(step)])
    pulls = []
    start = random.uniform(0, 12)
    while start < along[-1]:
        end = min(start + random.uniform(18, 60), along[-1])
        places = np.linspace(start, end, PATH_POINTS)
        points = np.stack([np.interp(places, along, line[:, axis]) for axis in (0, 1)], axis=1)
        tries = 2 if random.random() < 0.35 else 1
        for _ in range(tries):
            offset = (
                sway_mm * random.standard_normal(2)
                + sway_mm * 0.5 * np.cumsum(random.standard_normal((PATH_POINTS, 2)), axis=0) / 4
            )
            pulls.append((points + offset).astype(np.float32))
        start = end + random.uniform(-6, 3)
    return pulls


def _hatching(mask: NDArray[np.bool_], random: np.random.Generator, spacing_mm: float) -> list[NDArray[np.float32]]:
    """Return parallel hatching lines inside a shadow."""
    rows, columns = np.nonzero(mask)
    if len(rows) == 0:
        return []
    low = np.array([columns.min(), rows.min()]) * CARTOON_PITCH_MM
    high = np.array([columns.max(), rows.max()]) * CARTOON_PITCH_MM
    lines = []
    direction = np.array([0.56, -0.83])
    for offset in np.arange(0.0, (high - low).sum(), spacing_mm):
        places = np.linspace(-60.0, 60.0, 240)[:, None] * direction + low + np.array([offset, (high - low)[1] * 0.5])
        column, row = (places.T / CARTOON_PITCH_MM).astype(int)
        valid = (column >= 0) & (row >= 0) & (column < mask.shape[1]) & (row < mask.shape[0])
        on = np.zeros(len(places), bool)
        on[valid] = mask[row[valid], column[valid]]
        index = np.flatnonzero(on)
        if len(index) > 12:
            piece = places[index[0] : index[-1] + 1]
            lines.append(_resample(piece + 0.4 * random.standard_normal(2)))
    return lines


def _drawn_handle(cartoon: Cartoon) -> list[NDArray[np.float64]]:
    """Return the outline of the handle where it was first drawn, 7.5 mm further left."""
    lines = _outlines(cartoon.kind == HANDLE)
    points = np.concatenate(lines)
    # Measured on the traced outline itself: tracing runs half a cartoon pixel inside the shape.
    inner = points[np.abs(points[:, 1] - motif.HANDLE_Y_MM) < CARTOON_PITCH_MM, 0].min()
    return [line - np.array([inner - motif.DRAWN_HANDLE_X_MM, 0.0]) for line in lines]


def draw_underdrawing(studio: Studio) -> None:
    """Draw the motif in charcoal: outlines in pulls, a ruled edge, the jug's axis, hatched shadows."""
    random, cartoon = studio.random, studio.cartoon
    pulls: list[NDArray[np.float32]] = []
    jug = np.isin(cartoon.kind, (JUG, JUG_INSIDE))
    for line in _outlines(jug) + _outlines(cartoon.kind == JUG_INSIDE):
        pulls += _broken(line + np.array([0.8, -1.4]), random, 0.7)
    for mask in (cartoon.kind == NUTS, cartoon.kind == LINEN):
        for line in _outlines(mask):
            pulls += _broken(line + random.uniform(-1.6, 1.6, 2), random, 0.7)
    handle = [pull for line in _drawn_handle(cartoon) for pull in _broken(line, random, 0.0)]
    dark = (studio.tone < 0.24) & np.isin(cartoon.kind, (TABLE, JUG, NUTS))
    dark[: int(190 / CARTOON_PITCH_MM)] &= cartoon.kind[: int(190 / CARTOON_PITCH_MM)] == JUG
    dark[:, int(470 / CARTOON_PITCH_MM) :] = False
    hatches = _hatching(dark, random, 3.4)
    ruled = [
        _resample(np.array(line))
        for line in (motif.TABLE_EDGE_MM, ((157.0, 86.0), (156.0, 318.0)), ((30.0, 198.4), (612.0, 195.0)))
    ]
    film = studio.add_films(film_of(charcoal=1.0))
    for lines, half, thick in ((pulls, 0.42, 9.0), (handle, 0.42, 10.0), (hatches, 0.34, 7.0), (ruled, 0.32, 8.5)):
        seed = studio.seed * 31 + 1002 + int(half * 100)
        studio.parts.append(_strokes_from(lines, Marking(half, thick, 0.3, film, CHARCOAL, seed)))


def _candlestick_lines(random: np.random.Generator) -> list[tuple[list[NDArray[np.float32]], float]]:
    """Return the strokes of each part of the candlestick with their thickness in um."""
    parts = []
    for y0, y1, width_top, width_bottom, thick in _CANDLESTICK_PARTS:
        lines = []
        for x in np.arange(-0.5, 0.5001, 0.9 / max(width_bottom, 3.0)):
            top = np.array([499.0 + x * width_top + 0.25 * random.standard_normal(), y0 + 0.5 * random.random()])
            end = np.array([499.0 + x * width_bottom + 0.25 * random.standard_normal(), y1 - 0.5 * random.random()])
            lines.append(_resample(np.stack([top, end])))
        parts.append((lines, thick * (0.95 + 0.4 * random.random())))
    return parts


def draw_first_ideas(studio: Studio) -> None:
    """Paint the candlestick and the jug's first lip that the finished picture hides."""
    random = studio.random
    film = studio.add_films(film_of(lead_white=0.90, yellow_ochre=0.07, raw_umber=0.03))
    cover = studio.add_films(film_of(raw_umber=0.62, yellow_ochre=0.2, bone_black=0.08, lead_white=0.10))
    seed = studio.seed * 31 + 1040
    groups = [
        _strokes_from(lines, Marking(0.85, thick, 0.4, film, CANDLESTICK, seed))
        for lines, thick in _candlestick_lines(random)
    ]
    lip = [_resample(_arc(motif.FIRST_LIP_MM) + np.array([0.0, offset])) for offset in (0.0, 0.5, -0.4, 0.2)]
    groups.append(_strokes_from(lip, Marking(1.0, 17.0, 0.3, film, FIRST_LIP, seed + 1)))
    drips = []
    for x in random.uniform(179, 202, 4):
        drop = np.array([random.uniform(-2.5, 0.5), random.uniform(3, 9)])
        drips.append(_resample(np.array([[x, 118.5], [x, 118.5] + drop])))
    groups.append(_strokes_from(drips, Marking(0.5, 4.0, 0.7, film, FIRST_LIP, seed + 2)))
    centre = random.uniform((480.0, 86.0), (519.0, 219.0), (330, 2))
    run = random.uniform(-1.0, 1.0, (330, 1, 2)) * np.array([3.0, 9.0])
    away = run * np.linspace(-1, 1, PATH_POINTS)[None, :, None]
    over = list((centre[:, None, :] + away).astype(np.float32))
    groups.append(_strokes_from(over, Marking(3.2, 15.0, 0.6, cover, CANDLESTICK, seed + 3)))
    studio.parts.append(concatenate_strokes(groups))


# Top, bottom (mm), width at top and bottom (mm) and thickness (um) of each part of the candlestick.
_CANDLESTICK_PARTS = (
    (93.0, 99.0, 1.5, 2.5, 30.0),
    (98.0, 150.0, 9.0, 10.5, 22.0),
    (149.0, 153.0, 24.0, 26.0, 26.0),
    (153.0, 160.0, 9.0, 8.0, 18.0),
    (160.0, 166.0, 8.0, 15.0, 20.0),
    (166.0, 174.0, 15.0, 7.0, 20.0),
    (174.0, 187.0, 6.0, 7.5, 18.0),
    (187.0, 193.0, 8.0, 16.0, 20.0),
    (193.0, 198.0, 16.0, 11.0, 22.0),
    (198.0, 206.0, 13.0, 28.0, 20.0),
    (206.0, 213.5, 31.0, 33.0, 24.0),
)


def _arc(points: tuple[tuple[float, float], ...]) -> NDArray[np.float64]:
    """Return a parabola through three points."""
    xs, ys = np.array(points).T
    x = np.linspace(xs[0], xs[-1], 30)
    return np.stack([x, np.polyval(np.polyfit(xs, ys, 2), x)], axis=1)


def _overpaint(studio: Studio, palette: Palette, first: int, random: np.random.Generator) -> Strokes:
    """Return the restorer's patch over the third walnut, matched to wall and table, a little too dark."""
    corners = np.array(motif.OVERPAINT_MM, np.float32)
    sites = random.uniform(corners.min(axis=0), corners.max(axis=0), (2600, 2)).astype(np.float32)
    inside = np.array([cv2.pointPolygonTest(corners, (float(x), float(y)), True) for x, y in sites])
    wobble = 1.1 * np.sin(sites[:, 0] * 0.55 + 1.0) * np.cos(sites[:, 1] * 0.47)
    wobble += 0.6 * random.standard_normal(len(sites))
    round_off = 3.0 * (np.hypot(*((sites - corners.mean(axis=0)) / (26.0, 25.0)).T) > 1.08)
    sites = sites[inside > 1.4 + wobble + round_off]
    wanted = 0.80 * _colour_at(studio, sites - np.array([72.0, 0.0], np.float32))
    run = np.stack([random.uniform(1.2, 3.0, len(sites)), random.uniform(-0.5, 0.5, len(sites))], axis=1)
    paths = sites[:, None, :] + run[:, None, :] * np.linspace(-1, 1, PATH_POINTS)[None, :, None]
    half = random.uniform(0.8, 1.6, len(sites))
    film = first + _nearest_film(palette, wanted, random)
    marking = Marking(half, 11.0, 0.6, film, OVERPAINT, studio.seed * 31 + 1050)
    return make_strokes(paths.astype(np.float32), np.full(len(sites), PATH_POINTS, np.int32), marking=marking)


def lay_later_paint(studio: Studio) -> Strokes:
    """Return the overpaint over the third walnut and old retouches along the join and the edges."""
    random = np.random.default_rng([studio.seed, 9])
    palette = palette_of(["later earth", "titanium white", "yellow ochre", "raw umber", "bone black"])
    first = studio.add_films(palette.films)
    over = _overpaint(studio, palette, first, random)
    x = np.concatenate([random.uniform(15, 630, 22), random.uniform(20, 620, 6)])
    along_join = 262.0 + 1.2 * x[:22] / 640.0 + random.uniform(-0.6, 0.9, 22)
    y = np.concatenate([along_join, random.choice([3.0, 476.0, 332.0, 474.0], 6)])
    lines = []
    for a, b in zip(x, y, strict=True):
        reach = random.uniform(1.2, 3.4)
        for step in range(3):
            shift = np.array([random.uniform(-1.5, 1.5), 0.6 * step - 0.6])
            lines.append(_resample(np.array([[a - reach, b], [a + reach, b + random.uniform(-0.3, 0.3)]]) + shift))
    middle = np.array([line[PATH_POINTS // 2] for line in lines])
    films = first + _nearest_film(palette, 0.86 * _colour_at(studio, middle), random)
    retouch = _strokes_from(lines, Marking(0.8, 8.0, 0.6, films, RETOUCH, studio.seed * 31 + 1051))
    return concatenate_strokes([over, retouch])


def _colour_at(studio: Studio, points_mm: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the cartoon's colour, a little blurred, at points in mm."""
    colour = cv2.GaussianBlur(studio.root, (0, 0), 3.0) ** 2
    columns, rows = (points_mm.T / CARTOON_PITCH_MM).astype(int)
    found: NDArray[np.float32] = colour[rows.clip(0, colour.shape[0] - 1), columns.clip(0, colour.shape[1] - 1)]
    return found


def _nearest_film(palette: Palette, linear: NDArray[np.float32], random: np.random.Generator) -> NDArray[np.int64]:
    """Return the mixture nearest to each colour, with a hand's small misses."""
    lab = lab_from_linear(np.clip(linear, 0.004, 0.9))
    lab[:, 0] += 0.7 * random.standard_normal(len(lab))
    _, nearest = palette.tree.query(lab)
    return np.asarray(nearest, np.int64)
