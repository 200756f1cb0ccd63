"""The eight ways in which a picture can be stored turned or mirrored.

Numbered as in tag 274 (Orientation) of TIFF 6.0, which Exif takes over: 1 upright, 2 mirrored
left to right, 3 half turn, 4 mirrored top to bottom, 5 transposed, 6 to be turned clockwise,
7 transposed across the other diagonal, 8 to be turned anticlockwise.
"""

import numpy as np
from numpy.typing import NDArray

from imaging.compute.map_fields import literal, whole_number

__all__ = ["ORIENTATIONS", "stored_px_from_upright_px", "upright_size_px"]

ORIENTATIONS = (1, 2, 3, 4, 5, 6, 7, 8)

# Per orientation: stored x and y as (coefficient of upright x, of upright y, width, height).
_STORED_FROM_UPRIGHT = {
    1: ((1, 0, 0, 0), (0, 1, 0, 0)),
    2: ((-1, 0, 1, 0), (0, 1, 0, 0)),
    3: ((-1, 0, 1, 0), (0, -1, 0, 1)),
    4: ((1, 0, 0, 0), (0, -1, 0, 1)),
    5: ((0, 1, 0, 0), (1, 0, 0, 0)),
    6: ((0, 1, 0, 0), (-1, 0, 0, 1)),
    7: ((0, -1, 1, 0), (-1, 0, 0, 1)),
    8: ((0, -1, 1, 0), (1, 0, 0, 0)),
}


def _checked(orientation: int) -> int:
    number = whole_number(orientation, "orientation", at_least=1)
    if number not in _STORED_FROM_UPRIGHT:
        literal(orientation, "orientation", expected=ORIENTATIONS)
    return number


def stored_px_from_upright_px(orientation: int, *, stored_size_px: tuple[int, int]) -> NDArray[np.float64]:
    """Return the (3, 3) matrix from pixels of the upright picture to pixels as stored.

    Parameters
    ----------
    orientation : int
        1 to 8, see the module.
    stored_size_px : 2 ints, px
        Width and height as stored.

    Raises
    ------
    MapFormatError
        If the orientation is not one of the eight.

    Examples
    --------
    >>> matrix = stored_px_from_upright_px(6, stored_size_px=(400, 300))
    >>> (matrix @ [0.0, 0.0, 1.0]).tolist()
    [0.0, 300.0, 1.0]
    """
    width_px, height_px = stored_size_px
    matrix = np.eye(3)
    for row, (x, y, widths, heights) in enumerate(_STORED_FROM_UPRIGHT[_checked(orientation)]):
        matrix[row] = (x, y, widths * width_px + heights * height_px)
    return matrix


def upright_size_px(orientation: int, *, stored_size_px: tuple[int, int]) -> tuple[int, int]:
    """Return width and height of the picture once upright.

    Examples
    --------
    >>> upright_size_px(8, stored_size_px=(400, 300))
    (300, 400)
    """
    width_px, height_px = stored_size_px
    return (height_px, width_px) if _checked(orientation) >= 5 else (width_px, height_px)
