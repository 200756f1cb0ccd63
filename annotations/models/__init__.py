"""Rows of the database: one noun a module."""

from annotations.models.annotation import Annotation, AnnotationQuerySet, AnnotationStatus, Certainty

__all__ = ["Annotation", "AnnotationQuerySet", "AnnotationStatus", "Certainty"]
