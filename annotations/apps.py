"""The Django app that holds annotations and what hangs on them."""

from django.apps import AppConfig

__all__ = ["AnnotationsConfig"]


class AnnotationsConfig(AppConfig):
    """Register the app under its short name."""

    name = "annotations"
    default_auto_field = "django.db.models.BigAutoField"
