"""The Django app that holds pages, templates and commands of the project."""

from django.apps import AppConfig

__all__ = ["FrontendConfig"]


class FrontendConfig(AppConfig):
    """Register the app under its short name."""

    name = "frontend"
