"""The version of the software that every derived file and registration carries."""

from importlib.metadata import PackageNotFoundError, version

__all__ = ["SOFTWARE_VERSION"]

#: Kept in step with pyproject.toml by a test; the project itself is not installed as a package.
_VERSION = "0.1.0"


def _library_version(name: str) -> str:
    """Return the version of an installed library, or `?` when it is not there."""
    try:
        return version(name)
    except PackageNotFoundError:
        return "?"


#: Pixels depend on these libraries, so a result that cannot be reproduced says which ones made it.
SOFTWARE_VERSION = f"mahlstick {_VERSION} pyvips {_library_version('pyvips-binary')}"[:40]
