"""The two facts of an Exif block that change how a picture lies: orientation and pitch."""

import io

from imaging.errors import MasterFileError

from .limits import MasterLimits
from .master_header import um_per_px_from_density
from .tiff_directory import TiffWalker

__all__ = ["orientation_and_pitch"]

_ORIENTATION, _X_RESOLUTION, _Y_RESOLUTION, _RESOLUTION_UNIT = 274, 282, 283, 296


def orientation_and_pitch(block: bytes, *, limits: MasterLimits) -> tuple[int, tuple[float, float] | None]:
    r"""Return orientation (1 to 8) and stated pitch in µm per px of an Exif block.

    Parameters
    ----------
    block : bytes
        Starting with the byte order mark, without ``Exif\0\0``.
    limits : MasterLimits
        Bounds on the walk.

    Returns
    -------
    orientation : int
        1 if the block is damaged or says nothing.
    um_per_px : (float, float) or None
        None if it says nothing.
    """
    try:
        walker = TiffWalker(io.BytesIO(block), size_bytes=len(block), file_name="Exif", limits=limits)
        directory = next(iter(walker.directories()), None)
        if directory is None:
            return 1, None
        orientation = walker.number(directory, _ORIENTATION, default=1)
        unit = walker.number(directory, _RESOLUTION_UNIT, default=2)
        densities = [walker.numbers(directory, tag)[:1] or (0.0,) for tag in (_X_RESOLUTION, _Y_RESOLUTION)]
    except MasterFileError:
        # A damaged Exif block does not make the picture unreadable; the sheet shows what is
        # missing.
        return 1, None
    unit_um = 10_000.0 if unit == 3 else 25_400.0
    x, y = (um_per_px_from_density(float(each[0]), unit_um=unit_um) for each in densities)
    pitch = (x, y) if x is not None and y is not None else None
    return (orientation if 1 <= orientation <= 8 else 1), pitch
