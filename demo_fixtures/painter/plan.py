"""The plan: everything the tiles need to know, made once from a seed."""

from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from demo_fixtures.painter import motif
from demo_fixtures.painter.cartoon import draw_cartoon
from demo_fixtures.painter.cracks import CRACK_PITCH_MM, Cracks, crack_distance_mm, grow_cracks
from demo_fixtures.painter.drawing import draw_first_ideas, draw_priming, draw_underdrawing, lay_later_paint
from demo_fixtures.painter.passes import Studio, paint_motif
from demo_fixtures.painter.pigments import film_of
from demo_fixtures.painter.scene import LINEN, WALL
from demo_fixtures.painter.strokes import Strokes, concatenate_strokes

__all__ = ["PLAN_VERSION", "Plan", "build_plan", "load_plan", "save_plan"]

# Raised whenever a change of the code changes what a seed paints.
PLAN_VERSION = 8


class Plan(NamedTuple):
    """Vectors and small maps; the tile stage is a pure function of this and of pixel numbers."""

    seed: int
    wash_after: int
    wash_film: NDArray[np.float32]
    films: NDArray[np.float32]
    strokes: Strokes
    later: Strokes
    cracks: Cracks
    chips_mm: NDArray[np.float32]
    cupping_um: NDArray[np.float32]
    kind: NDArray[np.int8]
    retouch_colour: NDArray[np.float32]


def _quiet_first_lip(strokes: Strokes) -> Strokes:
    """Thin the wall and jug strokes that cross the first lip, so that it can show through."""
    middle = strokes.xy_mm[np.arange(len(strokes.points)), strokes.points // 2]
    x, y = middle.T
    crossing = (abs(x - 190.0) < 18.0) & (abs(y - 117.0) < 3.6)
    thick = strokes.thick_um.copy()
    thick[crossing] *= 0.55
    return strokes._replace(thick_um=thick)


def _chips(cracks: Cracks, seed: int) -> NDArray[np.float32]:
    """Return small losses: convex hexagons at crack junctions and knocks along the edges."""
    random = np.random.default_rng([seed, 31])
    chosen = cracks.junctions_mm[random.permutation(len(cracks.junctions_mm))[:46]]
    x = random.uniform(0, 640, 40)
    y = random.uniform(0, 480, 20)
    edge = np.concatenate(
        [
            np.stack([x[:20], random.exponential(0.9, 20)], 1),
            np.stack([x[20:], 480 - random.exponential(0.9, 20)], 1),
            np.stack([random.exponential(0.9, 10), y[:10]], 1),
            np.stack([640 - random.exponential(0.9, 10), y[10:]], 1),
        ]
    )
    chips = []
    for centre, scale in [(c, random.uniform(0.25, 0.75)) for c in chosen] + [
        (c, random.uniform(0.5, 2.0)) for c in edge
    ]:
        angle = np.sort(random.uniform(0, 2 * np.pi, 6))
        radius = scale * random.uniform(0.6, 1.25, 6)
        chips.append(centre + np.stack([1.35 * radius * np.cos(angle), 0.85 * radius * np.sin(angle)], axis=1))
    keep = [c for c in chips if not _spares_named_places(c.mean(axis=0))]
    return np.array(keep, np.float32)


def _spares_named_places(point: NDArray[np.float64]) -> bool:
    """Return whether a chip would disturb one of the three measured losses."""
    return any(np.hypot(*(np.mean(loss, axis=0) - point)) < 14.0 for loss in motif.LOSSES_MM)


def _cupping(cracks: Cracks, seed: int) -> NDArray[np.float32]:
    """Return the lifted edges of the paint islands in um on the crack grid."""
    away = crack_distance_mm(cracks)
    island = np.zeros(away.shape, np.float32)
    polygon = np.rint(np.array(motif.CUPPING_MM) / CRACK_PITCH_MM).astype(np.int32)
    cv2.fillPoly(island, [polygon], 1.0)
    inside = cv2.GaussianBlur(island, (0, 0), 1.2 / CRACK_PITCH_MM)
    decay = 0.5 + 0.5 * inside
    lift = (9.0 + 170.0 * inside) * (np.exp(-away / decay) - 0.25 * np.exp(-away / 1.6))
    return np.asarray(cv2.GaussianBlur(lift, (0, 0), 0.8), np.float32)


def build_plan(seed: int, *, progress: Callable[[float], None] = lambda share: None) -> Plan:
    """Return the plan of a seed (10-30 s); `progress` is told the share of the time that is usually spent."""
    progress(0.01)
    cartoon = draw_cartoon(seed)
    progress(0.3)
    studio = Studio(cartoon, seed)
    draw_priming(studio)
    draw_underdrawing(studio)
    wash_after = sum(len(part.points) for part in studio.parts)
    draw_first_ideas(studio)
    ideas = len(studio.parts)
    progress(0.4)
    paint_motif(studio)
    progress(0.75)
    under = concatenate_strokes(studio.parts[:ideas])
    over = _quiet_first_lip(concatenate_strokes(studio.parts[ideas:]))
    lead = np.where(cartoon.kind == LINEN, 1.0, np.clip(cartoon.colour.mean(axis=2) * 1.6, 0.1, 0.6)).astype(np.float32)
    lead[cartoon.kind == WALL] *= 0.8
    cracks = grow_cracks(lead, seed)
    progress(0.95)
    later = lay_later_paint(studio)
    smooth = cv2.GaussianBlur(np.clip(cartoon.colour, 0, 0.9), (0, 0), 1.5)
    colour = np.asarray(cv2.resize(smooth, (640, 480), interpolation=cv2.INTER_AREA), np.float32)
    return Plan(
        seed,
        wash_after,
        film_of(burnt_umber=0.55, raw_umber=0.37, red_lake=0.08),
        np.concatenate(studio.films),
        concatenate_strokes([under, over]),
        later,
        cracks,
        _chips(cracks, seed),
        _cupping(cracks, seed),
        cartoon.kind,
        colour,
    )


def save_plan(plan: Plan, path: Path) -> None:
    """Write a plan beside the stack that was painted from it."""
    columns = {
        f"{name}_{field}": value
        for name in ("strokes", "later", "cracks")
        for field, value in getattr(plan, name)._asdict().items()
    }
    plain = {name: value for name, value in plan._asdict().items() if name not in ("strokes", "later", "cracks")}
    aside = path.with_suffix(".part.npz")
    np.savez(aside, version=PLAN_VERSION, **plain, **columns)
    aside.replace(path)


def load_plan(path: Path, seed: int) -> Plan | None:
    """Return a stored plan, or nothing when it is of another seed or version."""
    if not path.exists():
        return None
    with np.load(path) as stored:
        if int(stored["version"]) != PLAN_VERSION or int(stored["seed"]) != seed:
            return None
        groups: dict[str, Any] = {
            name: kind(*(stored[f"{name}_{field}"] for field in kind._fields))
            for name, kind in (("strokes", Strokes), ("later", Strokes), ("cracks", Cracks))
        }
        plain: dict[str, Any] = {name: stored[name] for name in Plan._fields if name not in groups}
    plain["seed"], plain["wash_after"] = int(plain["seed"]), int(plain["wash_after"])
    return Plan(**plain, **groups)
