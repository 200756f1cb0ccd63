"""The painter's passes: from broad to fine, back to front, as strokes of mixed pigments."""

import math
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from demo_fixtures.painter.cartoon import CARTOON_PITCH_MM, Cartoon
from demo_fixtures.painter.pigments import Palette, lab_from_linear, palette_of
from demo_fixtures.painter.scene import FRONT, HANDLE, JUG, JUG_INSIDE, LINEN, NUTS, TABLE, WALL
from demo_fixtures.painter.strokes import (
    BRUSH,
    PATH_POINTS,
    Brush,
    Field,
    Marking,
    Strokes,
    make_strokes,
    mark_covered,
    noise_map,
    trace_paths,
)

__all__ = ["Studio", "paint_motif"]


class _Pass(NamedTuple):
    """One pass over an object."""

    brush: Brush
    coverage: float
    jitter_l: float
    drift: float = 0.10
    detail: float = 0.0
    turn_rad: float = 0.12


class _Subject(NamedTuple):
    """An object, its pigments and its passes."""

    kinds: tuple[int, ...]
    pigments: list[str]
    passes: tuple[_Pass, ...]
    wander_mm: float


_SUBJECTS = (
    _Subject(
        (WALL,),
        ["lead white", "yellow ochre", "raw umber", "bone black", "red ochre"],
        (
            _Pass(Brush(14, 60, 16, 0.8), 2.2, 1.0, 0.14, 0.0, 0.65),
            _Pass(Brush(9, 38, 10, 0.9), 2.2, 0.8, 0.14, 0.0, -0.7),
            _Pass(Brush(5, 24, 8, 0.85), 2.0, 0.6, 0.12, 0.0, 0.5),
            _Pass(Brush(3, 13, 5, 0.9), 1.3, 0.5, 0.10, 0.0, -0.6),
        ),
        1.0,
    ),
    _Subject(
        (TABLE, FRONT),
        ["yellow ochre", "raw umber", "burnt umber", "red ochre", "bone black", "lead white"],
        (
            _Pass(Brush(9, 60, 17, 0.3), 2.2, 1.2),
            _Pass(Brush(5, 52, 13, 0.5), 1.9, 1.1),
            _Pass(Brush(2.4, 38, 11, 0.6), 1.6, 1.0, 0.08),
            _Pass(Brush(1.1, 24, 9, 0.6), 1.1, 0.8, 0.07, 0.010),
        ),
        0.6,
    ),
    _Subject(
        (LINEN,),
        ["lead white", "yellow ochre", "raw umber", "smalt", "bone black"],
        (
            _Pass(Brush(7, 30, 18, 0.3), 2.6, 1.2),
            _Pass(Brush(4.2, 20, 16, 0.4), 2.2, 1.0),
            _Pass(Brush(2.2, 13, 16, 0.5), 2.0, 0.9, 0.08),
            _Pass(Brush(1.1, 8, 15, 0.5), 1.6, 0.7, 0.07, 0.012),
        ),
        0.3,
    ),
    _Subject(
        (JUG_INSIDE,),
        ["lead white", "yellow ochre", "raw umber", "bone black"],
        (
            _Pass(Brush(5, 22, 16, 0.4), 2.6, 1.0),
            _Pass(Brush(2.4, 13, 12, 0.5), 2.2, 0.8),
            _Pass(Brush(1.2, 8, 11, 0.6), 1.6, 0.6),
        ),
        0.2,
    ),
    _Subject(
        (JUG,),
        ["azurite", "smalt", "lead white", "bone black", "raw umber", "yellow ochre"],
        (
            _Pass(Brush(9, 36, 17, 0.3), 3.0, 1.5),
            _Pass(Brush(5, 26, 15, 0.5), 2.6, 1.2),
            _Pass(Brush(2.6, 16, 11, 0.6), 2.2, 1.0, 0.08),
            _Pass(Brush(1.3, 8, 10, 0.7), 1.8, 0.7, 0.07, 0.006),
            _Pass(Brush(0.7, 4, 13, 0.7), 1.6, 0.5, 0.06, 0.016),
        ),
        0.25,
    ),
    _Subject(
        (HANDLE,),
        ["azurite", "smalt", "lead white", "bone black", "raw umber"],
        (
            _Pass(Brush(5, 24, 16, 0.4), 2.6, 1.2),
            _Pass(Brush(2.4, 15, 12, 0.5), 2.2, 0.9),
            _Pass(Brush(1.2, 8, 11, 0.6), 1.6, 0.6, 0.07),
        ),
        0.15,
    ),
    _Subject(
        (NUTS,),
        ["yellow ochre", "lead-tin yellow", "burnt umber", "raw umber", "lead white", "bone black"],
        (
            _Pass(Brush(5, 14, 13, 0.5), 2.6, 1.5),
            _Pass(Brush(2.4, 8, 13, 0.5), 2.6, 1.2),
            _Pass(Brush(1.1, 4.6, 12, 0.5), 3.0, 0.8, 0.04),
            _Pass(Brush(0.6, 2.8, 12, 0.45), 3.2, 0.7, 0.035, 0.005),
            _Pass(Brush(0.35, 1.8, 10, 0.5), 1.6, 0.6, 0.08, 0.030),
        ),
        0.2,
    ),
)
_AGAIN = _Pass(Brush(2.6, 22, 8, 0.65), 0.0, 0.7)
_CONTOUR = _Pass(Brush(1.4, 15, 12, 0.55), 0.0, 0.7, 0.09)
_TOUCH = _Pass(Brush(0.8, 4.0, 30, 0.3), 0.0, 0.4, 0.5)


class Studio:
    """Collects strokes and films while the motif is painted."""

    def __init__(self, cartoon: Cartoon, seed: int) -> None:
        self.cartoon = cartoon
        self.seed = seed
        self.random = np.random.default_rng([seed, 4])
        self.films: list[NDArray[np.float32]] = []
        self.film_count = 0
        self.parts: list[Strokes] = []
        self.root = np.sqrt(np.clip(cartoon.colour, 0.0, 0.95))
        self.tone = np.ascontiguousarray(self.root.mean(axis=2))
        self.palettes: dict[int, tuple[Palette, int]] = {}

    def add_films(self, films: NDArray[np.float32]) -> int:
        """Store films and return the number of the first one."""
        first = self.film_count
        self.films.append(np.atleast_2d(films))
        self.film_count += len(self.films[-1])
        return first

    def fields_of(self, subject: _Subject, inside: NDArray[np.bool_]) -> Field:
        """Return the direction field of an object."""
        kind = subject.kinds[0]
        rows, columns = self.tone.shape
        if kind == WALL:
            angle = 0.5 * noise_map(rows, columns, CARTOON_PITCH_MM, (70.0, 60.0), self.seed + 3) - 0.5
        elif kind in (TABLE, FRONT):
            angle = 0.025 * noise_map(rows, columns, CARTOON_PITCH_MM, (60.0, 12.0), self.seed + 4) - math.radians(0.32)
        elif kind == JUG:
            normal = self.cartoon.normal
            # The tangent of turning, seen from above: level at the sides, hollow in the middle.
            angle = np.arctan2(-0.36 * normal[..., 0], np.maximum(normal[..., 2], 0.15))
            angle = -np.where(normal[..., 2] > -0.5, angle, 0.0)
        else:
            return self._structure_field(inside)
        cos2, sin2 = np.cos(2 * angle).astype(np.float32), np.sin(2 * angle).astype(np.float32)
        return Field(cos2, sin2, self.tone, inside, CARTOON_PITCH_MM)

    def _structure_field(self, inside: NDArray[np.bool_]) -> Field:
        """Return directions along the form: across the mean gradient of tone and outline."""
        guide = np.where(inside, self.tone, 0.0).astype(np.float32)
        smooth = cv2.GaussianBlur(guide, (0, 0), 1.0 / CARTOON_PITCH_MM)
        dx = cv2.Sobel(smooth, cv2.CV_32F, 1, 0)
        dy = cv2.Sobel(smooth, cv2.CV_32F, 0, 1)
        double = cv2.GaussianBlur(np.dstack([dx * dx - dy * dy, 2 * dx * dy]), (0, 0), 2.0 / CARTOON_PITCH_MM)
        size = np.hypot(double[..., 0], double[..., 1]) + 1e-9
        return Field(
            np.ascontiguousarray(-double[..., 0] / size),
            np.ascontiguousarray(-double[..., 1] / size),
            self.tone,
            inside,
            CARTOON_PITCH_MM,
        )

    def smooth_target(self, inside: NDArray[np.bool_], width_mm: float) -> NDArray[np.float32]:
        """Return the square root of the cartoon, blurred inside an object only."""
        sigma = max(0.35 * width_mm / CARTOON_PITCH_MM, 0.3)
        weight = inside.astype(np.float32)
        mean = cv2.GaussianBlur(self.root * weight[..., None], (0, 0), sigma)
        share = cv2.GaussianBlur(weight, (0, 0), sigma)
        return np.asarray(mean / np.maximum(share, 1e-3)[..., None], np.float32)

    def mix(
        self, palette: Palette, linear: NDArray[np.float32], *, sites_mm: NDArray[np.float32], jitter_l: float
    ) -> NDArray[np.int64]:
        """Return a mixture per site: near in colour, and like its neighbours in the infrared."""
        lab = lab_from_linear(linear)
        lab[:, 0] += jitter_l * self.random.standard_normal(len(lab))
        lab[:, 1:] += 0.5 * jitter_l * self.random.standard_normal((len(lab), 2))
        _, near = palette.tree.query(lab, k=14)
        infrared = palette.films[near, 3]
        cells = (sites_mm // 14.0).astype(int)
        key = (cells[:, 1] + 2) * 64 + cells[:, 0] + 2
        mean = np.bincount(key, infrared.mean(axis=1), 4096) / np.maximum(np.bincount(key, minlength=4096), 1)
        best = np.abs(infrared - mean[key][:, None]).argmin(axis=1)
        return np.asarray(near[np.arange(len(near)), best], np.int64)

    def lay(
        self,
        sites_mm: NDArray[np.float32],
        step: _Pass,
        *,
        field: Field,
        palette_at: tuple[Palette, int],
        linear: NDArray[np.float32] | None = None,
    ) -> Strokes:
        """Append one stroke per site and return them."""
        palette, first = palette_at
        number = len(sites_mm)
        side = self.random.choice([-1.0, 1.0], number, p=[0.35, 0.65])
        turn = step.turn_rad * (1.0 + 0.3 * self.random.standard_normal(number)) * side
        if abs(step.turn_rad) < 0.2:
            turn = step.turn_rad * self.random.standard_normal(number)
        length = step.brush.length_mm * np.exp(0.38 * self.random.standard_normal(number))
        paths = np.zeros((number, PATH_POINTS, 2), np.float32)
        counts = np.zeros(number, np.int32)
        trace_paths(sites_mm, (turn, length), field._replace(drift=step.drift), paths, counts)
        if linear is None:
            target = self.smooth_target(field.inside, step.brush.width_mm)
            columns, rows = (sites_mm.T / field.pitch_mm).astype(int)
            linear = target[rows.clip(0, target.shape[0] - 1), columns.clip(0, target.shape[1] - 1)] ** 2
        mixture = self.mix(palette, linear, sites_mm=sites_mm, jitter_l=step.jitter_l)
        hiding = palette.films[mixture, 4:7].mean(axis=1)
        thick = step.brush.thick_um * np.clip(0.10 / hiding, 0.8, 2.6)
        # Lights are loaded, shadows are scumbled thin.
        thick = thick * (0.85 + 0.9 * np.clip(linear.mean(axis=1) - 0.25, 0.0, 0.6))
        half = 0.5 * step.brush.width_mm * np.exp(0.20 * self.random.standard_normal(number))
        half = np.minimum(half, self._room_mm(field.inside, sites_mm))
        seed = self.seed * 31 + len(self.parts)
        strokes = make_strokes(
            paths, counts, marking=Marking(half, thick, step.brush.soft, mixture + first, BRUSH, seed)
        )
        self.parts.append(strokes)
        return strokes

    def _room_mm(self, inside: NDArray[np.bool_], sites_mm: NDArray[np.float32]) -> NDArray[np.float32]:
        """Return the widest half stroke that stays inside the contour."""
        away = cv2.distanceTransform(np.pad(inside.astype(np.uint8), 1, constant_values=1), cv2.DIST_L2, 3)[1:-1, 1:-1]
        columns, rows = (sites_mm.T / CARTOON_PITCH_MM).astype(int)
        room = away[rows.clip(0, away.shape[0] - 1), columns.clip(0, away.shape[1] - 1)] * CARTOON_PITCH_MM
        return np.asarray(room + 0.25, np.float32)

    def paint(self, subject: _Subject) -> None:
        """Paint one object, every pass with its filling rounds."""
        inside = np.isin(self.cartoon.kind, subject.kinds)
        field = self.fields_of(subject, inside)._replace(wander_mm=subject.wander_mm)
        palette = palette_of(subject.pigments)
        at = (palette, self.add_films(palette.films))
        self.palettes.update(dict.fromkeys(subject.kinds, at))
        for step in subject.passes:
            wanted = inside
            if step.detail:
                fine = np.abs(self.root - self.smooth_target(inside, step.brush.width_mm * 2.2)).max(axis=2)
                wanted = inside & (cv2.GaussianBlur(fine, (0, 0), 1.0) > step.detail)
            self._cover(wanted, step, field, at)

    def _cover(self, wanted: NDArray[np.bool_], step: _Pass, field: Field, at: tuple[Palette, int]) -> None:
        """Lay a pass, then go over what is still bare."""
        area = wanted.sum() * CARTOON_PITCH_MM**2
        per_stroke = step.brush.width_mm * step.brush.length_mm
        covered = np.zeros(wanted.shape, np.bool_)
        number = int(step.coverage * area / per_stroke * 0.85)
        for _ in range(4):
            sites = self._sites(wanted & ~covered, number)
            if len(sites) == 0:
                break
            laid = self.lay(sites, step, field=field, palette_at=at)
            mark_covered(laid.xy_mm, laid.points, laid.half_mm, CARTOON_PITCH_MM, covered)
            bare = (wanted & ~covered).sum() * CARTOON_PITCH_MM**2
            number = int(1.3 * bare / per_stroke * 2.0) if step.detail == 0.0 else 0
            if bare < 0.002 * area:
                break

    def _sites(self, wanted: NDArray[np.bool_], number: int) -> NDArray[np.float32]:
        """Return random points of a mask in mm."""
        flat = np.flatnonzero(wanted)
        if len(flat) == 0 or number <= 0:
            return np.zeros((0, 2), np.float32)
        chosen = self.random.choice(flat, number)
        rows, columns = np.divmod(chosen, wanted.shape[1])
        place = np.stack([columns, rows], axis=1) + self.random.random((number, 2))
        return (place * CARTOON_PITCH_MM).astype(np.float32)

    def paint_contours(self) -> None:
        """Pull both sides of every outline together: crisp in the light, lost in the shadow."""
        for subject in _SUBJECTS:
            inside = np.isin(self.cartoon.kind, subject.kinds)
            away = cv2.distanceTransform(inside.astype(np.uint8), cv2.DIST_L2, 5) * CARTOON_PITCH_MM
            band = inside & (away > 0.25) & (away < 1.3)
            band &= _interior(self.cartoon.kind.shape)
            contrast = cv2.morphologyEx(self.tone, cv2.MORPH_GRADIENT, np.ones((7, 7)))
            chance = np.clip(0.10 + 0.9 * contrast / 0.30, 0.0, 1.0)
            wanted = band & (self.random.random(band.shape) < chance)
            length = band.sum() * CARTOON_PITCH_MM**2 / 1.05
            sites = self._sites(wanted, int(4.5 * length * wanted.sum() / max(band.sum(), 1) / 10.0))
            if len(sites):
                field = self._outline_field(away, inside)._replace(wander_mm=0.12)
                self.lay(sites, _CONTOUR, field=field, palette_at=self.palettes[subject.kinds[0]])

    def _outline_field(self, away: NDArray[np.float32], inside: NDArray[np.bool_]) -> Field:
        """Return directions along an outline."""
        smooth = cv2.GaussianBlur(np.minimum(away, 3.0).astype(np.float32), (0, 0), 2.0)
        angle = np.arctan2(cv2.Sobel(smooth, cv2.CV_32F, 0, 1), cv2.Sobel(smooth, cv2.CV_32F, 1, 0)) + math.pi / 2
        return Field(np.cos(2 * angle), np.sin(2 * angle), self.tone, inside, CARTOON_PITCH_MM)

    def paint_again(self) -> None:
        """Bring wall and table up against the finished contours once more."""
        objects = np.isin(self.cartoon.kind, (JUG, HANDLE, NUTS, LINEN)).astype(np.uint8)
        near = cv2.dilate(objects, np.ones((13, 13))).astype(bool)
        for subject in _SUBJECTS[:2]:
            inside = np.isin(self.cartoon.kind, subject.kinds)
            wanted = inside & near
            sites = self._sites(wanted, int(0.9 * wanted.sum() * CARTOON_PITCH_MM**2 / 30.0))
            field = self.fields_of(subject, inside)._replace(wander_mm=0.1)
            self.lay(sites, _AGAIN, field=field, palette_at=self.palettes[subject.kinds[0]])

    def paint_highlights(self) -> None:
        """Set the loaded touches: the window on the glaze, the ridges, the lit folds."""
        gloss = self.cartoon.gloss
        jug = np.isin(self.cartoon.kind, (JUG, HANDLE, JUG_INSIDE))
        white = palette_of(["lead white", "lead-tin yellow", "smalt"])
        at = (white, self.add_films(white.films))
        nuts = self.cartoon.kind == NUTS
        for inside, low, density, strength in ((jug, 0.014, 1.5, 15.0), (nuts, 0.030, 0.6, 5.0)):
            wanted = inside & (gloss > low)
            sites = self._sites(wanted, int(density * wanted.sum() * CARTOON_PITCH_MM**2 / 1.6))
            if len(sites):
                columns, rows = (sites.T / CARTOON_PITCH_MM).astype(int)
                light = np.clip(gloss[rows, columns] * strength, 0.0, 1.0)[:, None]
                colour = np.clip(
                    self.cartoon.colour[rows, columns] * (1 - light) + np.array([0.86, 0.83, 0.76]) * light, 0, 0.9
                )
                field = self._structure_field(wanted)._replace(wander_mm=0.15)
                self.lay(sites, _TOUCH, field=field, palette_at=at, linear=colour)


def _interior(shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Return a mask without the picture's own edge."""
    mask = np.zeros(shape, np.bool_)
    mask[4:-4, 4:-4] = True
    return mask


def paint_motif(studio: Studio) -> None:
    """Paint everything that belongs to the finished picture."""
    for subject in _SUBJECTS:
        studio.paint(subject)
    studio.paint_contours()
    studio.paint_again()
    studio.paint_highlights()
