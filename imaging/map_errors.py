"""What can be wrong with maps and control points; the base class is in errors.py.

ImagingError
├── MapError                        a map between frame and image cannot be used
│   ├── MapFormatError              a map document has a wrong or missing field
│   ├── SingularMapError            the map squeezes the face to a line or a point
│   ├── FoldedMapError              the map folds over itself or passes a horizon
│   └── MapInversionError           an image place has no frame place
└── ControlPointError               control points cannot carry a fit
    ├── TooFewControlPointsError    fewer points than the model needs
    ├── CollinearControlPointsError the points lie on one line
    ├── DuplicateControlPointsError two points stand on the same place
    ├── MirroredControlPointsError  one set is the mirror image of the other
    └── ControlPointTableError      a line of a control point table is unreadable
"""

from imaging.errors import ImagingError

__all__ = [
    "CollinearControlPointsError",
    "ControlPointError",
    "ControlPointTableError",
    "DuplicateControlPointsError",
    "FoldedMapError",
    "MapError",
    "MapFormatError",
    "MapInversionError",
    "MirroredControlPointsError",
    "SingularMapError",
    "TooFewControlPointsError",
]


class MapError(ImagingError):
    """A map between frame and image cannot be used."""

    code = "map_error"


class MapFormatError(MapError):
    """A map document has a wrong or missing field."""

    code = "map_format"

    def __init__(self, *, field: str, got: str, needed: str) -> None:
        self.field, self.got, self.needed = field, got, needed
        super().__init__(
            f"No map can be made of this: '{field}' is {got}, needed is {needed}. "
            "Correct that value, or write the document again from the program that made it."
        )


class SingularMapError(MapError):
    """The map squeezes the face to a line or a point."""

    code = "singular_map"

    def __init__(self, *, field: str) -> None:
        self.field = field
        super().__init__(
            f"The matrix '{field}' has no inverse: it squeezes the face to a line or a point. "
            "Needed is a matrix whose rows are independent. "
            "Fit the map again from points that do not lie on one line."
        )


class FoldedMapError(MapError):
    """The map folds over itself, or passes a horizon, inside the extent asked about."""

    code = "folded_map"

    def __init__(self, *, x_mm: float, y_mm: float, area_ratio: float) -> None:
        self.x_mm, self.y_mm, self.area_ratio = x_mm, y_mm, area_ratio
        super().__init__(
            f"The map folds over itself near x {x_mm:.1f}, y {y_mm:.1f} mm "
            f"(local area {area_ratio:.3g} of the usual). "
            "Two places of the face would fall on one pixel. "
            "Check the control points near that place, or use a stiffer model."
        )


class MapInversionError(MapError):
    """An image place has no frame place, or the search for it did not settle."""

    code = "map_inversion"

    def __init__(self, *, x_px: float, y_px: float, residual_px: float | None, count: int = 1) -> None:
        self.x_px, self.y_px, self.residual_px, self.count = x_px, y_px, residual_px, count
        found = "it lies beyond the horizon" if residual_px is None else f"the search stopped {residual_px:.3g} px away"
        super().__init__(
            f"No place in the frame belongs to image pixel x {x_px:.2f}, y {y_px:.2f} "
            f"({found}; {count} such points). "
            "Needed are pixels in or near the picture. "
            "Stay inside the image, or check this registration for folds."
        )


class ControlPointError(ImagingError):
    """Control points cannot carry a fit."""

    code = "control_point_error"


class TooFewControlPointsError(ControlPointError):
    """Fewer points than the model needs."""

    code = "too_few_control_points"

    def __init__(self, *, given: int, needed: int, model: str) -> None:
        self.given, self.needed, self.model = given, needed, model
        super().__init__(
            f"A {model} transform needs at least {needed} control points, got {given}. "
            "Add points spread over the whole painting."
        )


class CollinearControlPointsError(ControlPointError):
    """The points lie on one line, so nothing holds the map across it."""

    code = "collinear_control_points"

    def __init__(self, *, breadth: float, length: float, unit: str, model: str) -> None:
        self.breadth, self.length, self.unit, self.model = breadth, length, unit, model
        super().__init__(
            f"The control points lie too near one line: {length:.1f} {unit} long and only "
            f"{breadth:.2f} {unit} broad, too narrow for a {model} transform. "
            "Points must spread in both directions. Add points far from that line."
        )


class DuplicateControlPointsError(ControlPointError):
    """Two points stand on the same place."""

    code = "duplicate_control_points"

    def __init__(self, *, first: str, second: str, system: str) -> None:
        self.first, self.second, self.system = first, second, system
        super().__init__(
            f"The control points {first} and {second} stand on the same place in the {system}. "
            "Every point must be a place of its own. Remove one of them, or set it anew."
        )


class MirroredControlPointsError(ControlPointError):
    """One set is the mirror image of the other."""

    code = "mirrored_control_points"

    def __init__(self, *, mirrored_rms_px: float, upright_rms_px: float) -> None:
        self.mirrored_rms_px, self.upright_rms_px = mirrored_rms_px, upright_rms_px
        super().__init__(
            "The image is the mirror image of the frame: the points agree to "
            f"{mirrored_rms_px:.2f} px mirrored, but only to {upright_rms_px:.2f} px unmirrored. "
            "A map without mirroring was asked for. Allow mirroring when the image is seen from "
            "behind or was scanned the wrong way round; else exchange the points set on wrong sides."
        )


class ControlPointTableError(ControlPointError):
    """A line of a control point table is unreadable."""

    code = "control_point_table"

    def __init__(self, *, line: int, column: str, got: str, needed: str) -> None:
        self.line, self.column, self.got, self.needed = line, column, got, needed
        super().__init__(
            f"Line {line} of the control point table, column '{column}', is {got}; "
            f"needed is {needed}. Correct that line and bring the table in again."
        )
