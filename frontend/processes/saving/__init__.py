"""Backup of a whole installation, and its restoration into an empty one."""
