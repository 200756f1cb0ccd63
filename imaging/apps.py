"""The Django app that holds studies, works, images, registrations and jobs."""

from django.apps import AppConfig

__all__ = ["ImagingConfig"]


class ImagingConfig(AppConfig):
    """Register the app under its short name."""

    name = "imaging"
    default_auto_field = "django.db.models.BigAutoField"
