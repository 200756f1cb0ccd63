"""Every annotation exception.

AnnotationError
├── GeometryError               a drawn shape cannot be kept
│   ├── GeometryFormatError     the shape's description has a wrong or missing part
│   ├── EmptyGeometryError      the shape has no points, no length or no area
│   ├── InvalidGeometryError    the shape crosses itself, or a hole leaves its outline
│   └── OutOfBoundsGeometryError the shape lies far from any face
├── MeasurementError            a quantity cannot be measured on this shape
├── DocumentFormatError         a Web Annotation document has a wrong or missing part
│   └── SelectorFormatError     a selector in it cannot be read
├── AnnotationWithdrawnError    it was there; its author or a lead withdrew it
└── OthersWordsError            somebody else wrote this

AnnotationConflictError         the annotation changed since it was read (an imaging EditConflictError)

Each class has a stable ``code`` and keeps its numbers as attributes.
"""

from typing import Any

from imaging.errors import EditConflictError

__all__ = [
    "AnnotationConflictError",
    "AnnotationError",
    "AnnotationWithdrawnError",
    "DocumentFormatError",
    "EmptyGeometryError",
    "GeometryError",
    "GeometryFormatError",
    "InvalidGeometryError",
    "MeasurementError",
    "OthersWordsError",
    "OutOfBoundsGeometryError",
    "SelectorFormatError",
]

# Longer values are cut in messages: a whole document helps nobody there.
_SHOWN_CHARACTERS = 80


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


class DocumentFormatError(AnnotationError):
    """A Web Annotation document has a wrong or missing part."""

    code = "document_format"

    def __init__(self, *, field: str, got: object, needed: str) -> None:
        self.field, self.got, self.needed = field, str(got)[:_SHOWN_CHARACTERS], needed
        super().__init__(
            f"The annotation document is not readable: '{field}' is {self.got}, needed is {needed}. "
            "Correct the document and send it again."
        )


class SelectorFormatError(DocumentFormatError):
    """A selector cannot be read as a place."""

    code = "selector_format"

    def __init__(self, *, selector: str, got: str, needed: str) -> None:
        self.selector = selector
        super().__init__(field=f"{selector} selector", got=got, needed=needed)


class AnnotationWithdrawnError(AnnotationError):
    """The annotation was withdrawn; its number is never given again."""

    code = "annotation_withdrawn"

    def __init__(self, *, key: str, withdrawn_at: str, by: str) -> None:
        self.key, self.withdrawn_at, self.by = key, withdrawn_at, by
        super().__init__(
            f"{key} was withdrawn by {by} on {withdrawn_at[:10]}. Its history is kept; "
            "ask its author if you need what it said."
        )


class OthersWordsError(AnnotationError):
    """Words and shapes are changed by their author only."""

    code = "others_words"

    def __init__(self, *, key: str, author: str) -> None:
        self.key, self.author = key, author
        super().__init__(
            f"{key} is {author}'s. Others' words stay as they are: mark your own beside it, or ask {author}."
        )


class AnnotationConflictError(EditConflictError):
    """Somebody changed the annotation after it was read; what it says now comes along."""

    code = "annotation_conflict"

    def __init__(self, conflict: EditConflictError, *, current_state: dict[str, Any]) -> None:
        super().__init__(expected=conflict.expected, current=conflict.current, editor=conflict.editor)
        self.current_state = current_state
