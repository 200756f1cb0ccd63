"""What carries places and maps from one version of a frame to the next."""

from dataclasses import dataclass
from typing import Any, Self

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from imaging.compute.displacement import MINIMUM_NODES, DisplacementGrid
from imaging.compute.map_fields import finite_array, known_fields, literal
from imaging.compute.maps import FrameMap
from imaging.compute.registration.uncertainty import UncertaintyGrid
from imaging.map_errors import SingularMapError

__all__ = ["FrameChange"]

_CHANGE_TYPE = "mahlstick-frame-change"
_CHANGE_VERSION = 1
# A displacement laid on turned nodes may differ from the old one by this much.
_RELAYING_TOLERANCE_PX = 0.002
_MOST_REFINEMENTS = 4
# A change that squeezes one direction a thousandfold against the other is no correction.
_SMALLEST_AXIS_RATIO = 1e-3


@dataclass(frozen=True, eq=False)
class FrameChange:
    """An affine map from the millimetres of an old frame version to those of a new one.

    Parameters
    ----------
    new_from_old : (2, 3) float array
        Linear part and shift in mm.

    Examples
    --------
    >>> change = FrameChange([[1.0, 0.0, 12.0], [0.0, 1.0, -3.0]])
    >>> change.new_from_old_mm([[1.0, 2.0]]).tolist()
    [[13.0, -1.0]]
    """

    new_from_old: NDArray[np.float64]

    def __post_init__(self) -> None:
        """Refuse a change that cannot be undone."""
        affine = finite_array(self.new_from_old, "affine", shape=(2, 3))
        largest, smallest = np.linalg.svd(affine[:, :2], compute_uv=False)
        if not smallest > _SMALLEST_AXIS_RATIO * largest:
            raise SingularMapError(field="affine")
        affine.flags.writeable = False
        object.__setattr__(self, "new_from_old", affine)

    @property
    def matrix(self) -> NDArray[np.float64]:
        """The (3, 3) homogeneous matrix, new millimetres from old."""
        return np.vstack([self.new_from_old, [0.0, 0.0, 1.0]])

    def new_from_old_mm(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """Return the places in the new version of (N, 2) places in the old one."""
        linear, shift_mm = self.new_from_old[:, :2], self.new_from_old[:, 2]
        points: NDArray[np.float64] = np.asarray(points_mm, dtype=np.float64) @ linear.T + shift_mm
        return points

    def old_from_new_mm(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """Return the places in the old version of (N, 2) places in the new one."""
        return self.inverse().new_from_old_mm(points_mm)

    def inverse(self) -> "FrameChange":
        """Return the change back."""
        return FrameChange(np.asarray(np.linalg.inv(self.matrix)[:2], dtype=np.float64))

    def then(self, later: "FrameChange") -> "FrameChange":
        """Return this change followed by a later one."""
        return FrameChange((later.matrix @ self.matrix)[:2])

    def carried_map(self, frame_map: FrameMap) -> FrameMap:
        """Return the same registration for the new frame version.

        Parameters
        ----------
        frame_map : FrameMap
            Old frame mm to image px.

        Returns
        -------
        carried : FrameMap
            New frame mm to image px. Exact for the projective part and for a displacement under
            shift and even scaling; otherwise the displacement is laid on new nodes, within
            0.002 px where measured nodes stood before, and the old nodes' outline becomes the
            support, so that extrapolation stays marked.
        """
        projective = frame_map.projective @ np.linalg.inv(self.matrix)
        support_mm = frame_map.support_mm
        if support_mm is not None:
            support_mm = self.new_from_old_mm(support_mm)
        displacement = frame_map.displacement
        if displacement is not None:
            linear = self.new_from_old[:, :2]
            scale = float(linear[0, 0])
            if scale > 0.0 and np.array_equal(linear, scale * np.eye(2)):
                (x0_mm, y0_mm) = self.new_from_old_mm([[displacement.x0_mm, displacement.y0_mm]])[0].tolist()
                displacement = DisplacementGrid(
                    x0_mm, y0_mm, displacement.step_mm * scale, displacement.dx_px, displacement.dy_px
                )
            else:
                support_mm = _common_outline(support_mm, self.new_from_old_mm(_corners(displacement)))
                displacement = self._laid_again(displacement)
        return FrameMap(projective, displacement, image_size_px=frame_map.image_size_px, support_mm=support_mm)

    def carried_uncertainty(self, grid: UncertaintyGrid) -> UncertaintyGrid:
        """Return the uncertainty of a registration for the new frame version.

        Radii are read where the places were, and grow with the local scale. Where the turned grid
        leaves corners uncovered they are marked as extrapolated.
        """
        rows, columns = grid.radius95_mm.shape
        size_mm = grid.step_mm * np.array([columns - 1, rows - 1])
        corners_mm = np.array([grid.x0_mm, grid.y0_mm]) + size_mm * [[0, 0], [1, 0], [1, 1], [0, 1]]
        carried_mm = self.new_from_old_mm(corners_mm)
        low_mm, high_mm = carried_mm.min(axis=0), carried_mm.max(axis=0)
        scale = float(np.sqrt(abs(np.linalg.det(self.new_from_old[:, :2]))))
        step_mm = grid.step_mm * scale
        # The small allowance adds no node for a side that only rounding made longer.
        columns, rows = np.maximum(np.ceil((high_mm - low_mm) / step_mm - 1e-9).astype(int) + 1, 2)
        old_mm = self.old_from_new_mm(_lattice(low_mm, step_mm, columns=columns, rows=rows))
        return UncertaintyGrid(
            float(low_mm[0]),
            float(low_mm[1]),
            step_mm,
            (scale * grid.at(old_mm)).reshape(rows, columns),
            grid.is_extrapolated_at(old_mm).reshape(rows, columns),
        )

    def _laid_again(self, old: DisplacementGrid) -> DisplacementGrid:
        """Return the displacement on nodes parallel to the new axes."""
        corners_mm = self.new_from_old_mm(_corners(old))
        low_mm, high_mm = corners_mm.min(axis=0), corners_mm.max(axis=0)
        x0_mm, y0_mm = low_mm.tolist()
        step_mm = old.step_mm * float(np.linalg.svd(self.new_from_old[:, :2], compute_uv=False)[1])
        for _ in range(_MOST_REFINEMENTS):
            columns, rows = np.maximum(np.ceil((high_mm - low_mm) / step_mm).astype(int) + 1, MINIMUM_NODES)
            nodes_mm = _lattice(low_mm, step_mm, columns=columns, rows=rows)
            values = old.displacement_px(self.old_from_new_mm(nodes_mm)).reshape(rows, columns, 2)
            new = DisplacementGrid(x0_mm, y0_mm, step_mm, dx_px=values[..., 0], dy_px=values[..., 1])
            between_mm = nodes_mm + 0.5 * step_mm
            between_old_mm = self.old_from_new_mm(between_mm)
            covered = old.covers(between_old_mm)
            gap_px = new.displacement_px(between_mm[covered]) - old.displacement_px(between_old_mm[covered])
            if not covered.any() or np.abs(gap_px).max() <= _RELAYING_TOLERANCE_PX:
                break
            step_mm *= 0.5
        return new

    def to_json(self) -> dict[str, Any]:
        """Return the change as a document."""
        return {
            "type": _CHANGE_TYPE,
            "version": _CHANGE_VERSION,
            "from": "old-frame-mm",
            "to": "new-frame-mm",
            "affine": self.new_from_old.tolist(),
        }

    @classmethod
    def from_json(cls, document: Any) -> Self:
        """Read what ``to_json`` wrote.

        Raises
        ------
        MapFormatError, SingularMapError
            If a field is missing, unknown or unusable; it names the field.
        """
        names = ["type", "version", "from", "to", "affine"]
        fields = known_fields(document, "change", required=names)
        expected = (_CHANGE_TYPE, _CHANGE_VERSION, "old-frame-mm", "new-frame-mm")
        for name, value in zip(names, expected, strict=False):
            literal(fields[name], f"change.{name}", expected=value)
        return cls(fields["affine"])


def _corners(grid: DisplacementGrid) -> NDArray[np.float64]:
    x_min, y_min, x_max, y_max = grid.extent_mm
    return np.array([[x_min, y_min], [x_max, y_min], [x_max, y_max], [x_min, y_max]])


def _lattice(low_mm: NDArray[np.float64], step_mm: float, *, columns: int, rows: int) -> NDArray[np.float64]:
    x_mm = low_mm[0] + np.arange(columns) * step_mm
    y_mm = low_mm[1] + np.arange(rows) * step_mm
    return np.stack(np.meshgrid(x_mm, y_mm), axis=-1).reshape(-1, 2)


def _common_outline(
    support_mm: NDArray[np.float64] | None, nodes_outline_mm: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the outline of what both the old support and the old nodes cover."""
    if support_mm is None:
        return nodes_outline_mm
    common = shapely.intersection(shapely.Polygon(support_mm), shapely.Polygon(nodes_outline_mm))
    parts = [part for part in shapely.get_parts(common) if isinstance(part, shapely.Polygon)]
    if not parts:
        return nodes_outline_mm
    largest = max(parts, key=lambda part: part.area)
    return np.asarray(largest.exterior.coords)[:-1]
