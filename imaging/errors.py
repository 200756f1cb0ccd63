"""What a person or a file can cause in imaging; HTTP status lives in frontend/error_responses.py.

ImagingError
├── TemplateError                      a message that can be translated: template + values
│   ├── WorkCancelledError             somebody stopped the work
│   ├── NoDiskSpaceError
│   ├── ChecksumMismatchError          a file is not the file it was
│   ├── GuardError                     a guarded child process did not finish
│   │   └── GuardMemoryError, GuardTimeError, GuardDeathError
│   ├── NoRandomAccessError            a master that can only be read from top to bottom
│   ├── BuildInProgressError           the same file is being built already
│   ├── DamagedPyramidError            a pyramid or level file is not what it claims
│   ├── UnusableProfileError           a colour profile cannot be applied
│   ├── UntaggedColourError            colours without a profile, and no rule for them
│   └── MasterFileError                a file cannot be taken in as a master
│       ├── EmptyFileError, UnknownFormatError, TruncatedFileError, DamagedFileError
│       ├── HugeClaimError, ImplausibleSizeError, WholePictureError
│       ├── DirectoryLoopError, TooManyPagesError, OversizedTagError
│       ├── UnsupportedColourError, UnsupportedSampleError, UnsupportedCompressionError
│       └── NotANumberError
├── NotFoundError                      absent or forbidden: the answer is the same
├── ImageClosedError                   known to exist, closed until a date
├── RoleNeededError                    seen, but not allowed to do this
├── InvitationEndedError
├── EditConflictError                  the row changed since it was read
├── RevisionMissingError               no If-Match was sent
├── UnfitStateError                    the row is not in the state this step needs
├── FieldRefusedError                  one field holds what it must not
├── TableRefusedError                  lines of a table that cannot be used, all of them
├── FileUnreadableError                a path that cannot be read
├── JobLostError                       the job was given to another worker meanwhile
└── UploadError                        a step of a resumable upload cannot be taken
    ├── UploadRequestError             a header is missing or says what it must not
    ├── ProtocolVersionError, UploadTooLargeError, UploadOffsetError
    └── UploadBusyError, ChunkChecksumError, UploadGoneError, ForeignOriginError
"""

import datetime as dt

__all__ = [
    "BuildInProgressError",
    "ChecksumMismatchError",
    "ChunkChecksumError",
    "DamagedFileError",
    "DamagedPyramidError",
    "DirectoryLoopError",
    "EditConflictError",
    "EmptyFileError",
    "FieldRefusedError",
    "FileUnreadableError",
    "ForeignOriginError",
    "GuardDeathError",
    "GuardError",
    "GuardMemoryError",
    "GuardTimeError",
    "HugeClaimError",
    "ImageClosedError",
    "ImagingError",
    "ImplausibleSizeError",
    "InvitationEndedError",
    "JobLostError",
    "MasterFileError",
    "NoDiskSpaceError",
    "NoRandomAccessError",
    "NotANumberError",
    "NotFoundError",
    "OversizedTagError",
    "ProtocolVersionError",
    "RevisionMissingError",
    "RoleNeededError",
    "TableRefusedError",
    "TemplateError",
    "TooManyPagesError",
    "TruncatedFileError",
    "UnfitStateError",
    "UnknownFormatError",
    "UnsupportedColourError",
    "UnsupportedCompressionError",
    "UnsupportedSampleError",
    "UntaggedColourError",
    "UnusableProfileError",
    "UploadBusyError",
    "UploadError",
    "UploadGoneError",
    "UploadOffsetError",
    "UploadRequestError",
    "UploadTooLargeError",
    "WholePictureError",
    "WorkCancelledError",
]


class ImagingError(Exception):
    """Base of everything that a person or a file can cause in this app."""

    code = "imaging_error"


class NotFoundError(ImagingError):
    """Nothing of that kind is open to this person; absent and forbidden look the same."""

    code = "not_found"

    def __init__(self, *, noun: str, identifier: object):
        self.noun, self.identifier = noun, str(identifier)
        super().__init__(f"There is no {noun} {identifier} that is open to you. Check the address or sign in.")


class ImageClosedError(ImagingError):
    """The image is known to this person but closed until a date."""

    code = "image_closed"

    def __init__(self, *, image_id: object, closed_until: dt.date, ask: str):
        self.image_id, self.closed_until, self.ask = str(image_id), closed_until.isoformat(), ask
        super().__init__(
            f"No way through to this image before {closed_until.isoformat()}. "
            f"The right to see closed images is needed. Ask {ask}."
        )


class RoleNeededError(ImagingError):
    """The person may see this but not do it."""

    code = "role_needed"

    def __init__(self, *, given: str, needed: str, study: str):
        self.given, self.needed, self.study = given, needed, study
        super().__init__(f"You take part in {study} as {given}; this needs the role {needed}. Ask a lead of the study.")


class InvitationEndedError(ImagingError):
    """The invitation link has ended, was revoked or never was."""

    code = "invitation_ended"

    def __init__(self) -> None:
        super().__init__("This link is not valid any more. Ask the person who gave it to you for a new one.")


class EditConflictError(ImagingError):
    """Somebody changed the row after it was read."""

    code = "edit_conflict"

    def __init__(self, *, expected: int, current: int, editor: str = ""):
        self.expected, self.current, self.editor = expected, current, editor
        super().__init__(
            f"{editor or 'Somebody'} changed this: you began from revision {expected}, now it is revision {current}. "
            "Read both, then keep theirs or put yours after it."
        )


class RevisionMissingError(ImagingError):
    """A change must say which revision it began from."""

    code = "revision_missing"

    def __init__(self) -> None:
        super().__init__("A change needs the header If-Match with the revision it began from. Fetch the row first.")


class UnfitStateError(ImagingError):
    """A step was asked of a row that is not ready for it, or past it."""

    code = "unfit_state"

    def __init__(self, *, noun: str, state: str, needed: str, remedy: str):
        self.noun, self.state, self.needed, self.remedy = noun, state, needed, remedy
        super().__init__(f"This {noun} is {state}; it must be {needed}. {remedy}")


class FieldRefusedError(ImagingError):
    """One field holds a value that cannot be used; the message names the field and the remedy."""

    code = "field_refused"

    def __init__(self, *, field: str, given: object, needed: str):
        self.field, self.given, self.needed = field, str(given), needed
        super().__init__(f"{field} is {given}; needed is {needed}.")


class TemplateError(ImagingError):
    """A message kept as ``template`` and ``values``, so that it can be translated and refilled."""

    code = "template"
    template = "{file_name} cannot be used."

    def __init__(self, *, file_name: str, **values: str | int | float):
        self.file_name, self.values = file_name, values
        super().__init__(self.template.format(file_name=file_name, **values))


class WorkCancelledError(TemplateError):
    """Somebody stopped the work."""

    code = "work_cancelled"
    template = "The work on {file_name} was stopped on request. Nothing was kept; start it again."


class NoDiskSpaceError(TemplateError):
    """The disk is full."""

    code = "no_disk_space"
    template = (
        "{file_name} needs {needed_bytes:,} bytes in {folder}, where {free_bytes:,} are free. "
        "Free some space on the storage page, or give another data folder."
    )


class ChecksumMismatchError(TemplateError):
    """A file is not the file it was."""

    code = "checksum_mismatch"
    template = (
        "{file_name} has the SHA-256 {got}; {expected} was recorded. The bytes have changed: "
        "fetch the file again from its source or from a backup."
    )


class GuardError(TemplateError):
    """A guarded child process did not finish."""

    code = "guard"


class GuardMemoryError(GuardError):
    """The child ran out of its memory."""

    code = "guard_memory"
    template = (
        "Reading {file_name} needed more than the {limit_bytes:,} bytes of memory allowed and was "
        "stopped. Save it as an uncompressed TIFF in strips or tiles and bring it in again."
    )


class GuardTimeError(GuardError):
    """The child ran out of its time."""

    code = "guard_time"
    template = (
        "Reading {file_name} took longer than the {limit_s:,.0f} s allowed and was stopped. Save "
        "it as an uncompressed TIFF and bring it in again, or raise the limit if the disk is slow."
    )


class GuardDeathError(GuardError):
    """The child crashed."""

    code = "guard_death"
    template = (
        "The reader crashed on {file_name} ({how}); nothing else was touched. Open the file in "
        "the program that made it and save it as TIFF. {last_words}"
    )


class MasterFileError(TemplateError):
    """A file cannot be taken in as a master; each class below says why in its template."""

    code = "master_file"


class EmptyFileError(MasterFileError):
    code = "empty_file"
    template = "{file_name} is empty (0 bytes). A picture is needed: copy it again from its source."


class UnknownFormatError(MasterFileError):
    code = "unknown_format"
    template = (
        "{file_name} holds {got}. Masters are TIFF, BigTIFF, JPEG, PNG or HEIC, told by their "
        "content and not by their name. Save the picture as TIFF."
    )


class TruncatedFileError(MasterFileError):
    code = "truncated_file"
    template = (
        "{file_name} ends too early: {what} needs {needed_bytes:,} bytes, the file has "
        "{got_bytes:,}. Copy it again from its source and compare the sizes."
    )


class DamagedFileError(MasterFileError):
    code = "damaged_file"
    template = (
        "{file_name} is damaged: {what}. Copy it again from its source; if that does not help, "
        "save it anew in the program that made it."
    )


class HugeClaimError(MasterFileError):
    code = "huge_claim"
    template = (
        "{file_name} claims {got:,} {what}; at most {limit:,} are accepted. Cut the picture into "
        "parts, or ask for a higher limit where this program is run."
    )


class ImplausibleSizeError(MasterFileError):
    code = "implausible_size"
    template = (
        "{file_name} claims {width_px:,} × {height_px:,} px, {claimed_bytes:,} bytes when decoded; "
        "its {stored_bytes:,} bytes ({compression}) can hold at most {possible_bytes:,}. Export "
        "the picture again."
    )


class WholePictureError(MasterFileError):
    code = "whole_picture"
    template = (
        "{file_name} is {form}, which must be held in memory as a whole: {needed_bytes:,} bytes "
        "where {limit_bytes:,} are allowed. Save it as TIFF in strips or tiles."
    )


class DirectoryLoopError(MasterFileError):
    code = "directory_loop"
    template = (
        "{file_name} has image directories that lead back to the one at byte {offset:,}; a last "
        "one is needed. Save it anew in the program that made it."
    )


class TooManyPagesError(MasterFileError):
    code = "too_many_pages"
    template = "{file_name} holds more than {limit:,} pictures; a master is one. Save the wanted one alone."


class OversizedTagError(MasterFileError):
    code = "oversized_tag"
    template = (
        "{file_name} carries {what} of {got_bytes:,} bytes; at most {limit_bytes:,} are read. "
        "Save the picture without it."
    )


class UnsupportedColourError(MasterFileError):
    code = "unsupported_colour"
    template = "{file_name} is {got}. Masters are grey, RGB, or have named bands. {remedy}"


class UnsupportedSampleError(MasterFileError):
    code = "unsupported_sample"
    template = (
        "{file_name} stores {got}. Masters have whole numbers of 8 or 16 bits without sign, or "
        "floating point numbers of 32 bits. Export it again from the raw file as one of these."
    )


class UnsupportedCompressionError(MasterFileError):
    code = "unsupported_compression"
    template = (
        "{file_name} is compressed by {got}. Uncompressed, LZW, deflate, PackBits and JPEG are "
        "read. Save it again with one of these; deflate loses nothing."
    )


class NotANumberError(MasterFileError):
    code = "not_a_number"
    template = (
        "{file_name} has {not_a_number:,} pixels that are no number and {infinite:,} infinite "
        "ones in band {band}. Each pixel needs a finite value: export it again with 0, or another "
        "stated value, where nothing was measured."
    )


class NoRandomAccessError(TemplateError):
    """A window was asked of a master that can only be read from top to bottom."""

    code = "no_random_access"
    template = (
        "{file_name} can only be read from top to bottom. Build its reading levels first; they "
        "hold a copy of it that any window can be read from."
    )


class BuildInProgressError(TemplateError):
    """Another process is writing the same file."""

    code = "build_in_progress"
    template = "{file_name} is being built already. Wait for that job to end, or cancel it."


class DamagedPyramidError(TemplateError):
    """A pyramid or a file of reading levels is not what it claims."""

    code = "damaged_pyramid"
    template = "{file_name} cannot be served: {what}. Publish the image again."


class UnusableProfileError(TemplateError):
    """A colour profile is damaged or fits other channels."""

    code = "unusable_profile"
    template = (
        "The colour profile of {file_name} cannot be applied: {what}. Embed the right profile in "
        "the file, or say that its values be shown as sRGB."
    )


class UntaggedColourError(TemplateError):
    """Colours without a profile, and no rule for them."""

    code = "untagged_colour"
    template = (
        "{file_name} holds colours without a profile. Say which colour space they are in: give a "
        "profile, or say that they be shown as sRGB."
    )


class TableRefusedError(ImagingError):
    """A table has lines that cannot be used; nothing of it was received."""

    code = "table_refused"

    def __init__(self, *, table: str, problems: list[str]):
        self.table, self.problems = table, problems
        super().__init__(
            f"{table}: nothing was received, {len(problems)} problem(s) must be corrected first.\n"
            + "\n".join(problems)
        )


class FileUnreadableError(ImagingError):
    """A path that cannot be read."""

    code = "file_unreadable"

    def __init__(self, *, file_name: str, reason: str):
        self.file_name, self.reason = file_name, reason
        super().__init__(f"{file_name} cannot be read: {reason}. Check the path and its permissions.")


class JobLostError(ImagingError):
    """The job was given to another worker; this run must write nothing."""

    code = "job_lost"

    def __init__(self, *, job_id: object):
        self.job_id = str(job_id)
        super().__init__(f"Job {job_id} was given to another worker meanwhile. Look at its state on the page of jobs.")


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
