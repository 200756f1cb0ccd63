"""Test vectors that Python and TypeScript share: computed here, kept as JSON beside, checked by both.

Write them again after a wanted change: ``python -m tests.vectors.computed``.
"""

import json
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from annotations.compute.measurements import measure_angle, measure_area, measure_distance, measure_length
from annotations.compute.uncertainty import ErrorBudget, Pick, rounded_pair
from imaging.compute.displacement import DisplacementGrid
from imaging.compute.frames import CanvasGrid, pixel_containing, px_from_sample_index, sample_index_from_px
from imaging.compute.maps import FrameMap

FOLDER = Path(__file__).parent


def frame_vectors() -> dict[str, Any]:
    """Return grids with places in both systems."""
    grids = [
        CanvasGrid(0.0, 0.0, 0.02, 1001, 700),
        CanvasGrid(-12.34, 5.6, 0.0635, 20_000, 15_001),
        CanvasGrid(3.2, -7.0, 1.0, 1, 1),
    ]
    positions_px = [[0.0, 0.0], [0.5, 0.5], [17.25, 333.125], [-4.0, 9000.75]]
    return {
        "sample_index": [[px, float(sample_index_from_px(px))] for px in (0.0, 0.5, 10.0, -3.25)],
        "px": [[index, float(px_from_sample_index(index))] for index in (0.0, 9.5, -0.5)],
        "pixel_containing": [[place, pixel_containing(place).tolist()] for place in ([0.0, 0.99], [1.0, -0.01])],
        "grids": [
            {
                "grid": grid.to_json(),
                "extent_mm": list(grid.extent_mm),
                "px": positions_px,
                "mm": grid.mm_from_px(positions_px).tolist(),
                "zoomed": [grid.zoomed(halvings).to_json() for halvings in range(4)],
            }
            for grid in grids
        ],
    }


def _waves(columns: int, rows: int, *, amplitude_px: float) -> tuple[Any, Any]:
    row, column = np.mgrid[:rows, :columns]
    return (
        np.round(amplitude_px * np.sin(0.7 * column + 0.4 * row), 3),
        np.round(amplitude_px * np.cos(0.5 * column - 0.6 * row), 3),
    )


def example_maps() -> dict[str, FrameMap]:
    """Return maps of every kind: upright, turned, mirrored, in perspective, bent."""
    perspective = [[20.0, 0.7, 50.0], [-0.4, 19.5, -30.0], [4e-5, 7e-5, 1.0]]
    dx_px, dy_px = _waves(7, 5, amplitude_px=6.0)
    bent = DisplacementGrid(-20.0, -10.0, 40.0, dx_px=dx_px, dy_px=dy_px)
    small_dx_px, small_dy_px = _waves(4, 4, amplitude_px=3.0)
    small = DisplacementGrid(0.0, 0.0, 50.0, dx_px=small_dx_px, dy_px=small_dy_px)
    triangle = np.array([[-1.0, -1.0], [150.0, 10.0], [60.0, 140.0]])
    return {
        "stated scale": FrameMap.from_stated_scale(0.05, (-10.0, 2.0), image_size_px=(4000, 3000)),
        "turned a quarter": FrameMap.from_stated_scale(0.02, image_size_px=(9000, 6000), orientation=6),
        "mirrored": FrameMap.from_stated_scale(0.1, (5.0, 5.0), image_size_px=(900, 600), orientation=2),
        "perspective": FrameMap(np.array(perspective), image_size_px=(4400, 3000)),
        "bent": FrameMap(np.array(perspective), bent, image_size_px=(4400, 3000)),
        "bent and supported": FrameMap(np.diag([-10.0, 10.0, -1.0]), small, support_mm=triangle),
    }


def map_vectors() -> dict[str, Any]:
    """Return map documents with places, pitches and marks, and documents to be refused."""
    places_mm = np.array([[0.0, 0.0], [33.3, 71.25], [100.0, 40.0], [149.5, 120.0], [-35.0, 160.0], [260.0, -30.0]])
    cases = []
    for name, frame_map in example_maps().items():
        cases.append(
            {
                "name": name,
                "map": frame_map.to_json(),
                "mm": places_mm.tolist(),
                "px": frame_map.px_from_mm(places_mm).tolist(),
                "pitch_mm": frame_map.pitch_mm_at(places_mm).tolist(),
                "is_extrapolated": frame_map.is_extrapolated(places_mm).tolist(),
                "is_mirrored": frame_map.is_mirrored(),
            }
        )
    return {"maps": cases, "refused": refused_documents()}


def refused_documents() -> list[dict[str, Any]]:
    """Return map documents that must be refused, each with the field that the refusal names."""
    good = example_maps()["bent and supported"].to_json()
    displacement = good["displacement"]
    singular = [[1.0, 2.0, 3.0], [2.0, 4.0, 6.0], [0.0, 0.0, 1.0]]
    changes: list[tuple[str, dict[str, Any]]] = [
        ("map.version", {"version": 2}),
        ("map.type", {"type": "another-map"}),
        ("map.pixel_centre", {"pixel_centre": 0.0}),
        ("map.extra", {"extra": 1}),
        ("projective", {"projective": singular}),
        ("projective", {"projective": [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]}),
        ("image_size_px", {"image_size_px": [100]}),
        ("image_size_px[1]", {"image_size_px": [100, 0]}),
        ("displacement.dx_px", {"displacement": displacement | {"dx_px": displacement["dx_px"][1:]}}),
        ("displacement.columns", {"displacement": displacement | {"columns": 3}}),
        ("displacement.step_mm", {"displacement": displacement | {"step_mm": 0.0}}),
        ("support_mm.length", {"support_mm": [[0.0, 0.0], [1.0, 1.0]]}),
    ]
    return [{"field": field, "map": good | change} for field, change in changes]


def measurement_vectors() -> dict[str, Any]:
    """Return shapes with their measurements, and rounded pairs."""
    fine, coarse = Pick(0.02), Pick(0.05)
    whole = ErrorBudget(registration_mm=0.04, relative_scale=0.001)
    line = [[0.0, 0.0], [3.0, 4.0], [3.0, 10.0], [7.5, 11.25]]
    rings = [[[0.0, 0.0], [20.0, 0.0], [20.0, 10.0], [0.0, 10.0]], [[5.0, 5.0], [8.0, 5.0], [5.0, 8.0]]]
    measured = {
        "distance": measure_distance(line[0], line[1], picks=(fine, fine), budget=ErrorBudget()),
        "distance between modalities": measure_distance([0.0, 0.0], [7.5, 0.0], picks=(coarse, fine), budget=whole),
        "too short": measure_distance([0.0, 0.0], [0.1, 0.0], picks=(coarse, coarse), budget=ErrorBudget()),
        "length": measure_length(shapely.LineString(line), pick=fine, budget=whole),
        "closed length": measure_length(shapely.LineString([*line, line[0]]), pick=fine, budget=ErrorBudget()),
        "area": measure_area([shapely.Polygon(rings[0], rings[1:])], pick=fine, budget=whole),
        "angle": measure_angle(line[2], line[3], picks=(fine, coarse), budget=whole),
    }
    pairs = [
        (12.3391, 0.0589), (7.5, 0.1385), (1234.5, 37.0), (0.0416667, 0.000961), (-0.321, 0.0324), (54.0, 0.0),
        (128.4, 0.354), (128.4, 0.355), (128.4, 9.5), (-0.0004, 0.02), (99999.5, 1500.0), (2.675, 0.1),
    ]  # fmt: skip
    return {
        "line": line,
        "rings": rings,
        "measured": {
            name: {
                "value": result.value,
                "uncertainty": result.uncertainty,
                "is_resolved": result.is_resolved,
                "resolvable_mm": result.resolvable_mm,
                "sentence": result.sentence,
                "unit": result.unit,
            }
            for name, result in measured.items()
        },
        "rounded": [
            [value, uncertainty, *vars(rounded_pair(value, uncertainty)).values()] for value, uncertainty in pairs
        ],
    }


VECTORS = {"frames": frame_vectors, "maps": map_vectors, "measurements": measurement_vectors}


def main() -> None:
    """Write all vectors beside this file."""
    for name, compute in VECTORS.items():
        text = json.dumps(compute(), indent=1, allow_nan=False)
        (FOLDER / f"{name}.json").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
