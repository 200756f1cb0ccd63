"""What a request of the upload protocol says, read from its headers."""

import base64
import binascii
import dataclasses
import json
from typing import Any

from imaging.errors import ProtocolVersionError, UploadRequestError

__all__ = [
    "CHECKSUM_ALGORITHMS",
    "TUS_VERSION",
    "UploadMetadata",
    "read_checksum",
    "read_metadata",
    "read_number",
    "refuse_body_type",
    "refuse_other_version",
    "upload_id_of",
]

TUS_VERSION = "1.0.0"
#: SHA-1 is in the protocol's own list of what servers must know; it only guards against faults on the way.
CHECKSUM_ALGORITHMS = ("sha256", "sha1")
_BODY_TYPE = "application/offset+octet-stream"
_MOST_METADATA_BYTES = 64 * 1024
_MOST_DIGITS = 18


@dataclasses.dataclass(frozen=True)
class UploadMetadata:
    """What is sent beside a file: its name, the face it shows, the fields of its slip."""

    name: str
    face_id: str
    fields: dict[str, Any]


def upload_id_of(path: str) -> str | None:
    """Return the last part of /uploads/ID; None for /uploads/ itself."""
    return path.removeprefix("/uploads/").rstrip("/") or None


def refuse_other_version(given: str) -> None:
    """Refuse a request that does not speak this version."""
    if given != TUS_VERSION:
        raise ProtocolVersionError(given=given, spoken=TUS_VERSION)


def refuse_body_type(given: str) -> None:
    """Refuse a body that is not a piece of a file."""
    if given.split(";")[0].strip().lower() != _BODY_TYPE:
        raise UploadRequestError(header="Content-Type", given=given, needed=_BODY_TYPE)


def read_number(name: str, given: str) -> int:
    """Return a header that is a whole number without sign."""
    if not (given.isascii() and given.isdecimal() and len(given) <= _MOST_DIGITS):
        raise UploadRequestError(header=name, given=given, needed="a whole number of bytes")
    return int(given)


def read_checksum(given: str) -> tuple[str, bytes] | None:
    """Return algorithm and digest of Upload-Checksum; None when there is none."""
    if not given:
        return None
    algorithm, _, encoded = given.partition(" ")
    try:
        digest = base64.b64decode(encoded.strip(), validate=True)
    except (binascii.Error, ValueError):
        digest = b""
    if algorithm not in CHECKSUM_ALGORITHMS or not digest:
        raise UploadRequestError(
            header="Upload-Checksum", given=given[:80], needed=f"one of {', '.join(CHECKSUM_ALGORITHMS)} and its Base64"
        )
    return algorithm, digest


def read_metadata(given: str) -> UploadMetadata:
    """Return Upload-Metadata; `filename` and `face` are needed, `slip` is a JSON object of texts."""
    if len(given) > _MOST_METADATA_BYTES:
        raise UploadRequestError(header="Upload-Metadata", given="very long", needed="at most 64 KiB")
    values = {}
    for pair in given.split(","):
        key, _, encoded = pair.strip().partition(" ")
        try:
            values[key] = base64.b64decode(encoded.strip(), validate=True).decode()
        except (binascii.Error, ValueError):
            raise UploadRequestError(
                header="Upload-Metadata", given=f"{key} with other signs", needed="each value in Base64 of UTF-8"
            ) from None
    for key in ("filename", "face"):
        if not values.get(key):
            raise UploadRequestError(header="Upload-Metadata", given=f"without {key}", needed="filename, face and slip")
    return UploadMetadata(values["filename"], values["face"], _read_fields(values))


def _read_fields(values: dict[str, str]) -> dict[str, Any]:
    """Return the fields of the slip, and the announced checksum of the whole file if there is one."""
    try:
        fields = json.loads(values.get("slip") or "{}")
    except (ValueError, RecursionError):
        fields = None
    if not isinstance(fields, dict):
        raise UploadRequestError(header="Upload-Metadata", given="slip", needed="a JSON object of texts by field")
    plain = {str(name): value for name, value in fields.items() if value is not None}
    if any(not isinstance(value, str | int | float) or isinstance(value, bool) for value in plain.values()):
        raise UploadRequestError(header="Upload-Metadata", given="slip", needed="texts and numbers only")
    return plain | ({"sha256": values["sha256"]} if values.get("sha256") else {})
