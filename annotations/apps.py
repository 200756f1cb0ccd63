"""The Django app that holds annotations and what hangs on them."""

from importlib import import_module

from django.apps import AppConfig

__all__ = ["AnnotationsConfig"]


class AnnotationsConfig(AppConfig):
    """Register the app under its short name."""

    name = "annotations"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Let annotations follow their frame in every process, whichever of them corrects it."""
        # Models can only be imported once every app is there.
        import_module("annotations.services.following")
