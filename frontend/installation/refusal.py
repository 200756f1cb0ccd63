"""The one error of the installation: a sentence with a remedy, shown without a stack."""

__all__ = ["EXIT_FAILED", "EXIT_INTERRUPTED", "EXIT_REFUSED", "EXIT_USAGE", "InstallationError"]

EXIT_FAILED = 1
EXIT_USAGE = 2
EXIT_REFUSED = 3
EXIT_INTERRUPTED = 130


class InstallationError(Exception):
    """What is missing on this machine, and what to do about it."""
