"""Every annotation exception.

AnnotationError
├── GeometryError               a drawn shape cannot be kept
│   ├── GeometryFormatError     the shape's description has a wrong or missing part
│   ├── EmptyGeometryError      the shape has no points, no length or no area
│   ├── InvalidGeometryError    the shape crosses itself, or a hole leaves its outline
│   └── OutOfBoundsGeometryError the shape lies far from any face
└── MeasurementError            a quantity cannot be measured on this shape

Each class has a stable ``code`` and keeps its numbers as attributes.
"""

__all__ = [
    "AnnotationError",
    "EmptyGeometryError",
    "GeometryError",
    "GeometryFormatError",
    "InvalidGeometryError",
    "MeasurementError",
    "OutOfBoundsGeometryError",
]


class AnnotationError(Exception):
    """Something about an annotation that a person or a file caused."""

    code = "annotation_error"


class GeometryError(AnnotationError):
    """A drawn shape cannot be kept."""

    code = "geometry_error"


class GeometryFormatError(GeometryError):
    """The description of a shape has a wrong or missing part."""

    code = "geometry_format"

    def __init__(self, *, field: str, got: str, needed: str) -> None:
        self.field, self.got, self.needed = field, got, needed
        super().__init__(
            f"The shape is not readable: '{field}' is {got}, needed is {needed}. "
            "Draw the shape again, or correct the document."
        )


class EmptyGeometryError(GeometryError):
    """The shape has no points, no length or no area."""

    code = "empty_geometry"

    def __init__(self, *, kind: str, reason: str) -> None:
        self.kind, self.reason = kind, reason
        super().__init__(
            f"This {kind} is empty: {reason}. A mark needs a place of its own. Set its points apart and keep it again."
        )


class InvalidGeometryError(GeometryError):
    """The shape crosses itself, touches itself, or a hole leaves its outline."""

    code = "invalid_geometry"

    def __init__(self, *, reason: str, x_mm: float, y_mm: float) -> None:
        self.reason, self.x_mm, self.y_mm = reason, x_mm, y_mm
        super().__init__(
            f"{reason} at x {x_mm:.1f}, y {y_mm:.1f} mm. An area has one boundary. "
            "Move that corner; nothing else was lost."
        )


class OutOfBoundsGeometryError(GeometryError):
    """The shape lies far from any face."""

    code = "out_of_bounds_geometry"

    def __init__(self, *, x_mm: float, y_mm: float, bound_mm: float) -> None:
        self.x_mm, self.y_mm, self.bound_mm = x_mm, y_mm, bound_mm
        super().__init__(
            f"This shape reaches x {x_mm:.1f}, y {y_mm:.1f} mm. "
            f"Places must lie within {bound_mm:.0f} mm of the datum in each direction. "
            "Check that the numbers are millimetres, and draw it on the face."
        )


class MeasurementError(AnnotationError):
    """A quantity cannot be measured on this shape."""

    code = "measurement_error"

    def __init__(self, *, quantity: str, got: str, needed: str) -> None:
        self.quantity, self.got, self.needed = quantity, got, needed
        super().__init__(
            f"The {quantity} cannot be measured: got {got}, needed is {needed}. "
            "Choose another shape or another measurement."
        )
