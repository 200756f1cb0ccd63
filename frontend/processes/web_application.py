"""The application of one server process, which ends with the server that started it."""

from frontend import asgi
from frontend.processes.lifeline import follow_parent

__all__ = ["application"]

application = asgi.application
follow_parent()
