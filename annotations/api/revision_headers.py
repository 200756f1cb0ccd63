"""ETag and If-Match of annotations in the API: the revision number in quotes."""

import re

from rest_framework.request import Request

from annotations.models import Annotation
from imaging.errors import FieldRefusedError, RevisionMissingError

__all__ = ["etag_of", "expected_revision"]

# A proxy that compresses marks tags as weak; the number in them is still the revision (RFC 9110, 8.8.1).
_REVISION_TAG = re.compile(r'(?:W/)?"([1-9][0-9]{0,8})"')


def etag_of(annotation: Annotation) -> str:
    """Return the tag of an annotation's revision."""
    return f'"{annotation.revision_number}"'


def expected_revision(request: Request) -> int:
    """Return the revision that a change began from; `*` says nothing about it and counts as missing."""
    header = request.headers.get("If-Match", "").strip()
    if header in {"", "*"}:
        raise RevisionMissingError
    match = _REVISION_TAG.fullmatch(header)
    if match is None:
        raise FieldRefusedError(field="If-Match", given=header, needed='one revision in quotes, such as "3"')
    return int(match[1])
