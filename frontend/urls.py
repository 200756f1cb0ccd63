"""Every address that Django answers; tiles and uploads are answered before it (frontend.asgi)."""

from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView

from annotations.api import urls as annotation_urls
from annotations.api import web_urls as annotation_web_urls
from frontend.pages import urls as page_urls
from imaging.api import urls as imaging_urls

__all__ = ["urlpatterns"]

urlpatterns = [
    path("api/v1/schema/", SpectacularAPIView.as_view(), name="schema"),
    path("api/v1/", include(imaging_urls)),
    path("api/v1/", include(annotation_urls)),
    path("account/", include("allauth.urls")),
    path("", include(annotation_web_urls)),
    path("", include(page_urls)),
]
