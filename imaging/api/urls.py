"""Addresses of the imaging API below /api/v1/."""

__all__ = ["urlpatterns"]

urlpatterns: list = []
