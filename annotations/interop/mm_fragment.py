"""Places in frame millimetres as URI fragments: ``mm=`` and Well-Known Text, percent-encoded.

Grammar of the fragment, version 1::

    fragment = "mm=" wkt
    wkt      = OGC Well-Known Text of POINT, LINESTRING, POLYGON or their MULTI forms, two
               coordinates each, percent-encoded where RFC 3986 asks for it in a fragment

Numbers are millimetres in the frame that the annotation's ``scope`` names: x to the right, y down.
"""

from urllib.parse import quote, unquote

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from annotations.errors import SelectorFormatError

__all__ = ["DECIMALS_MM", "PHYSICAL_MM_PATH", "geometry_from_mm_fragment", "mm_fragment_of", "mm_text_of"]

#: Path of the text that describes the grammar, below the address of an installation.
PHYSICAL_MM_PATH = "/ns/physical-mm/1"
#: 0.1 um: finer than any image of a painting resolves.
DECIMALS_MM = 4
# What RFC 3986 section 3.5 allows unescaped in a fragment and WKT uses.
_SAFE_IN_FRAGMENT = "(),.-+"
_KINDS = {"Point", "MultiPoint", "LineString", "MultiLineString", "Polygon", "MultiPolygon"}
# A fragment longer than this is no drawn shape but a mistake or an attack.
_LONGEST_FRAGMENT = 4_000_000


def mm_fragment_of(shape_mm: BaseGeometry) -> str:
    """Return the fragment of a shape, rounded to 0.1 um.

    Parameters
    ----------
    shape_mm : shapely geometry, mm
        Points, lines or areas in one frame.

    Returns
    -------
    fragment : str
        Without the leading ``#``.

    Examples
    --------
    >>> mm_fragment_of(shapely.box(1, 2, 4, 3.5, ccw=False))
    'mm=POLYGON((1%202,1%203.5,4%203.5,4%202,1%202))'
    """
    compact = mm_text_of(shape_mm).replace(", ", ",").replace(" (", "(")
    return "mm=" + quote(compact, safe=_SAFE_IN_FRAGMENT)


def mm_text_of(shape_mm: BaseGeometry) -> str:
    """Return a shape as Well-Known Text, rounded to 0.1 um.

    Examples
    --------
    >>> mm_text_of(shapely.Point(-0.00001, 151.25))
    'POINT (0 151.25)'
    """
    # Rounded before writing, because the writer turns to exponents for what rounds to zero; adding
    # zero takes the minus from a zero.
    rounded = shapely.transform(shape_mm, lambda places: np.round(places, DECIMALS_MM) + 0.0)
    text: str = shapely.to_wkt(rounded, rounding_precision=DECIMALS_MM, trim=True, output_dimension=2)
    return text


def geometry_from_mm_fragment(fragment: str) -> BaseGeometry:
    """Return the shape of a fragment, in mm.

    Raises
    ------
    SelectorFormatError
        If it does not begin with ``mm=``, is no Well-Known Text, is of another kind, is empty or
        holds numbers that are not finite.

    Examples
    --------
    >>> geometry_from_mm_fragment("mm=POINT(214.3%20151)").x
    214.3
    """
    needed = "'mm=' and percent-encoded Well-Known Text of points, lines or areas"
    if not fragment.startswith("mm=") or len(fragment) > _LONGEST_FRAGMENT:
        raise SelectorFormatError(selector="millimetre fragment", got=fragment, needed=needed)
    try:
        geometry = shapely.from_wkt(unquote(fragment.removeprefix("mm="), errors="strict"))
    except (shapely.errors.ShapelyError, UnicodeDecodeError) as err:
        raise SelectorFormatError(selector="millimetre fragment", got=fragment, needed=needed) from err
    coordinates = shapely.get_coordinates(geometry)
    is_usable = geometry.geom_type in _KINDS and not geometry.is_empty and not geometry.has_z
    if not is_usable or not bool((abs(coordinates) < float("inf")).all()):
        raise SelectorFormatError(selector="millimetre fragment", got=fragment, needed=needed)
    return geometry
