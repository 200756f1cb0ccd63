"""Addresses of annotations on the web, for people and for programs that read linked data."""

from django.urls import path

from annotations.api.annotation_page import AnnotationPage
from annotations.api.face_container import FaceContainer
from annotations.api.vocabulary_pages import certainty_text, physical_mm_text
from annotations.interop.mm_fragment import PHYSICAL_MM_PATH
from annotations.services.exporting import CERTAINTY_PATH

__all__ = ["urlpatterns"]

urlpatterns = [
    path("annotations/<str:pk>", AnnotationPage.as_view(), name="annotation-page"),
    path("faces/<str:pk>/annotations/", FaceContainer.as_view(), name="face-annotations"),
    path(PHYSICAL_MM_PATH.lstrip("/"), physical_mm_text, name="physical-mm"),
    path(CERTAINTY_PATH.lstrip("/"), certainty_text, name="certainty-degrees"),
]
