"""Addresses of the annotations API below /api/v1/."""

from django.urls import path

from annotations.api import annotations

__all__ = ["urlpatterns"]

urlpatterns = [
    path("annotations/", annotations.AnnotationList.as_view(), name="annotation-list"),
    path("annotations/<str:pk>", annotations.AnnotationDetail.as_view(), name="annotation-detail"),
    path("annotations/<str:pk>/revisions", annotations.AnnotationRevisions.as_view(), name="annotation-revisions"),
]
