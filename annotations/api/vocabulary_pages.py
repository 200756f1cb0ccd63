"""Small texts at the addresses that exported documents name: the millimetre fragment, the degrees of certainty."""

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

__all__ = ["certainty_text", "physical_mm_text"]

_PHYSICAL_MM = """Places in physical millimetres, version 1

A fragment that conforms to this text names a place on a plane that is measured in millimetres.

  fragment    = "mm=" wkt
  wkt         = Well-Known Text (OGC 06-103r4, section 7) of one of
                POINT, MULTIPOINT, LINESTRING, MULTILINESTRING, POLYGON, MULTIPOLYGON
                with two coordinates each, percent-encoded where RFC 3986 asks for it

Numbers are millimetres: the first runs to the right, the second downward. They belong to the
frame that the selector's source is, or, where the source is an image, to the frame that the
target's scope names. The frame's own document states its zero point, its size, the uncertainty
of both, and the pitch of its canvas.

Four decimals are written (0.1 micrometre). A box (xywh) or an SVG beside this fragment describes
the same area in pixels of the source; where they differ, this fragment is right.

Example: mm=POLYGON((1%202,4%202,4%203.5,1%203.5,1%202))
"""
_CERTAINTY = """Degrees of certainty, version 1

How sure the author of an annotation is. Each degree may come with a sentence why (skos:note).

  #certain     nothing else explains what is seen
  #probable    more speaks for it than against it
  #possible    it explains what is seen, and so would something else
  #unlikely    more speaks against it than for it
  #rejected    it was thought and is not held any more

An annotation without a degree says nothing about certainty.
"""


def _plain(text: str) -> HttpResponse:
    """Return a text that may be kept for a day and read from anywhere."""
    headers = {"Cache-Control": "public, max-age=86400", "Access-Control-Allow-Origin": "*"}
    return HttpResponse(text, content_type="text/plain; charset=utf-8", headers=headers)


@require_safe
def physical_mm_text(request: HttpRequest) -> HttpResponse:
    """Return the grammar of the millimetre fragment."""
    return _plain(_PHYSICAL_MM)


@require_safe
def certainty_text(request: HttpRequest) -> HttpResponse:
    """Return what the degrees of certainty mean; they are the ones that the form offers."""
    return _plain(_CERTAINTY)
