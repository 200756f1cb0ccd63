"""Pyramids: built once, served tile by tile."""
