"""The application of one server process, which ends with the server that started it."""

from frontend.asgi import application
from frontend.processes.lifeline import follow_parent

__all__ = ["application"]

follow_parent()
