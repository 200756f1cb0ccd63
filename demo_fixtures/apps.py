"""Django application of the demonstration study."""

from django.apps import AppConfig

__all__ = ["DemoFixturesConfig"]


class DemoFixturesConfig(AppConfig):
    """The app holds commands and files, no tables."""

    name = "demo_fixtures"
    default_auto_field = "django.db.models.BigAutoField"
