"""The box around a shape as a spatial media fragment: ``xywh=`` and four whole numbers of pixels.

Media Fragments URI 1.0 (W3C Recommendation 25 September 2012), section 4.2.2. The box is a
courtesy to simple readers and always rounded outward; no geometry is ever read back from it when
a finer selector is there.
"""

import math
import re

from shapely.geometry.base import BaseGeometry

from annotations.errors import SelectorFormatError

__all__ = ["MEDIA_FRAGMENTS_IRI", "Box", "box_from_media_fragment", "enclosing_box_px", "media_fragment_of"]

MEDIA_FRAGMENTS_IRI = "http://www.w3.org/TR/media-frags/"
#: Left, top, width and height, whole pixels.
Box = tuple[int, int, int, int]
_PIXEL_BOX = re.compile(r"xywh=(?:pixel:)?([0-9]{1,9}),([0-9]{1,9}),([0-9]{1,9}),([0-9]{1,9})")


def enclosing_box_px(shape_px: BaseGeometry, size_px: tuple[int, int]) -> Box | None:
    """Return the box of whole pixels around a shape, cut to the picture.

    Parameters
    ----------
    shape_px : shapely geometry, px
        Continuous pixel coordinates; pixel (0, 0) covers ``[0, 1) x [0, 1)``.
    size_px : 2 ints, px
        Width and height of the source.

    Returns
    -------
    box : 4 ints, px, or None
        None when nothing of the shape lies on the picture.

    Examples
    --------
    >>> enclosing_box_px(__import__("shapely").box(10.2, 5.0, 12.0, 8.9), (100, 100))
    (10, 5, 2, 4)
    >>> enclosing_box_px(__import__("shapely").Point(-3, 5), (100, 100)) is None
    True
    """
    x_min, y_min, x_max, y_max = shape_px.bounds
    width_px, height_px = size_px
    if x_max < 0 or y_max < 0 or x_min > width_px or y_min > height_px:
        return None
    # A point on the far border still gets the last pixel: a box has a width of one at least.
    left = min(max(math.floor(x_min), 0), width_px - 1)
    top = min(max(math.floor(y_min), 0), height_px - 1)
    right = max(min(math.ceil(x_max), width_px), left + 1)
    bottom = max(min(math.ceil(y_max), height_px), top + 1)
    return left, top, right - left, bottom - top


def media_fragment_of(box_px: Box) -> str:
    """Return the fragment of a box.

    Examples
    --------
    >>> media_fragment_of((100, 200, 300, 150))
    'xywh=100,200,300,150'
    """
    left, top, width, height = box_px
    return f"xywh={left},{top},{width},{height}"


def box_from_media_fragment(fragment: str) -> Box:
    """Return the box of a fragment in pixels.

    Raises
    ------
    SelectorFormatError
        If it is not ``xywh=`` with four whole numbers, or width or height is zero.

    Examples
    --------
    >>> box_from_media_fragment("xywh=pixel:1,2,30,40")
    (1, 2, 30, 40)
    """
    match = _PIXEL_BOX.fullmatch(fragment)
    needed = "'xywh=' and four whole numbers of pixels, width and height above zero"
    if match is None:
        raise SelectorFormatError(selector="media fragment", got=fragment, needed=needed)
    left, top, width, height = (int(number) for number in match.groups())
    if not width or not height:
        raise SelectorFormatError(selector="media fragment", got=fragment, needed=needed)
    return left, top, width, height
