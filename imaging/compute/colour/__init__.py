"""Colour spaces of masters."""
