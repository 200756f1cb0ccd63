"""What can be wrong with a step of a resumable upload."""

from .base_errors import ImagingError

__all__ = [
    "ChunkChecksumError",
    "ForeignOriginError",
    "ProtocolVersionError",
    "UploadBusyError",
    "UploadError",
    "UploadGoneError",
    "UploadOffsetError",
    "UploadRequestError",
    "UploadTooLargeError",
]


class UploadError(ImagingError):
    """Base of what can go wrong in a resumable upload."""

    code = "upload"


class UploadRequestError(UploadError):
    """A header of the upload protocol is missing or cannot be used."""

    code = "upload_request"

    def __init__(self, *, header: str, given: str, needed: str):
        self.header, self.given, self.needed = header, given, needed
        super().__init__(f"The header {header} is {given or 'missing'}; needed is {needed}.")


class ProtocolVersionError(UploadError):
    """Another version of the upload protocol was asked for."""

    code = "upload_protocol_version"

    def __init__(self, *, given: str, spoken: str):
        self.given, self.spoken = given, spoken
        super().__init__(f"The header Tus-Resumable is {given or 'missing'}; this server speaks tus {spoken}.")


class UploadTooLargeError(UploadError):
    """A file is larger than what is accepted."""

    code = "upload_too_large"

    def __init__(self, *, size_bytes: int, limit_bytes: int):
        self.size_bytes, self.limit_bytes = size_bytes, limit_bytes
        super().__init__(
            f"The file has {size_bytes:,} bytes; at most {limit_bytes:,} are accepted. "
            "Compress it (deflate loses nothing), cut it into parts, or ask for a higher limit where this is run."
        )


class UploadOffsetError(UploadError):
    """Bytes were sent for a place that is not the end of what has arrived."""

    code = "upload_offset"

    def __init__(self, *, given: int, current: int):
        self.given, self.current = given, current
        super().__init__(f"Bytes were sent from {given:,} on, but {current:,} have arrived. Go on from there.")


class UploadBusyError(UploadError):
    """Another request is writing the same upload."""

    code = "upload_busy"

    def __init__(self) -> None:
        super().__init__("This upload is being written by another request. Wait a moment and ask where it stands.")


class ChunkChecksumError(UploadError):
    """A part arrived with other bytes than were sent; it was dropped."""

    code = "chunk_checksum"

    def __init__(self, *, algorithm: str, current: int):
        self.algorithm, self.current = algorithm, current
        super().__init__(
            f"The {algorithm} of this part is not the one that was sent with it; the part was dropped. "
            f"Send it again from byte {current:,}."
        )


class UploadGoneError(UploadError):
    """The upload has expired or was given up."""

    code = "upload_gone"

    def __init__(self) -> None:
        super().__init__("This upload has expired or was given up, and its bytes are gone. Begin it anew.")


class ForeignOriginError(UploadError):
    """A request carried the cookie of a session but came from another site."""

    code = "foreign_origin"

    def __init__(self) -> None:
        super().__init__(
            "This request carries a session but not its check value. Load the page again; programs use a token."
        )
