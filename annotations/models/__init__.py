"""Rows of the database: one noun a module."""

from annotations.models.annotation import Annotation, AnnotationStatus, Certainty

__all__ = ["Annotation", "AnnotationStatus", "Certainty"]
