"""Bring the invented scenario into an installation through the same services that people use."""
