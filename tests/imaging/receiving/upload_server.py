"""The upload application alone, for a server process of its own."""

import os

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "frontend.settings")
django.setup()

from frontend.error_responses import problem_of  # noqa: E402 - needs the apps
from imaging.api.uploads import UploadApplication  # noqa: E402

__all__ = ["application"]

application = UploadApplication(problem_of)
