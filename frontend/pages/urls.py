"""Addresses of the server-rendered pages."""

__all__ = ["urlpatterns"]

urlpatterns: list = []
