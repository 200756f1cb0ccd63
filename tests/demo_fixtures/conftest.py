"""A small painting without a motif, quick to make, and one whole plan for the slow tests."""

import numpy as np
import pytest

from demo_fixtures.painter.cartoon import CARTOON_PITCH_MM, Cartoon
from demo_fixtures.painter.cracks import grow_cracks
from demo_fixtures.painter.drawing import draw_first_ideas, draw_priming, lay_later_paint
from demo_fixtures.painter.passes import Studio
from demo_fixtures.painter.pigments import film_of
from demo_fixtures.painter.plan import Plan, build_plan
from demo_fixtures.painter.raster import RASTER_ORIGIN_MM, RASTER_SIZE_MM, Raster
from demo_fixtures.painter.region import build_scene
from demo_fixtures.painter.strokes import CHARCOAL, Marking, concatenate_strokes, make_strokes

WHOLE_MM = (*RASTER_ORIGIN_MM, *RASTER_SIZE_MM)


def bare_plan(seed: int) -> Plan:
    """Return a plan with priming, one charcoal line, candlestick, cracks and overpaint, but no motif."""
    rows, columns = round(480 / CARTOON_PITCH_MM), round(640 / CARTOON_PITCH_MM)
    colour = np.full((rows, columns, 3), 0.12, np.float32)
    flat = np.zeros((rows, columns), np.float32)
    cartoon = Cartoon(colour, flat.astype(np.int8), np.zeros_like(colour), flat)
    studio = Studio(cartoon, seed)
    draw_priming(studio)
    line = np.stack([np.linspace(36.5, 603.8, 10), np.linspace(352.2, 349.0, 10)], axis=1)[None].astype(np.float32)
    charcoal = studio.add_films(film_of(charcoal=1.0))
    studio.parts.append(
        make_strokes(line, np.array([10], np.int32), marking=Marking(0.35, 9.0, 0.3, charcoal, CHARCOAL, 1))
    )
    wash_after = sum(len(part.points) for part in studio.parts)
    draw_first_ideas(studio)
    cracks = grow_cracks(np.full((60, 80), 0.5, np.float32), seed)
    later = lay_later_paint(studio)
    wash = film_of(burnt_umber=0.6, raw_umber=0.4)
    films = np.concatenate(studio.films)
    strokes = concatenate_strokes(studio.parts)
    chips = np.zeros((0, 6, 2), np.float32)
    cupping = np.zeros((1920, 2560), np.float32)
    fill = np.full((480, 640, 3), 0.12, np.float32)
    return Plan(seed, wash_after, wash, films, strokes, later, cracks, chips, cupping, cartoon.kind, fill)


def scene_of(plan, *, pitch_mm, window_mm=WHOLE_MM, hidden=None, tile_px=512):
    """Return a painted piece of a plan in memory."""
    raster = Raster(plan, pitch_mm=pitch_mm, folder=None, window_mm=window_mm, tile_px=tile_px)
    raster.hidden = hidden
    raster.paint(lambda _share: None)
    return build_scene(plan, raster)


@pytest.fixture(scope="session")
def small_plan():
    """Return the bare plan of seed 3."""
    return bare_plan(3)


@pytest.fixture(scope="session")
def whole_plan():
    """Return the finished plan of seed 1 (half a minute)."""
    return build_plan(1)
