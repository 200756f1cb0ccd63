"""What can be wrong with a received file, and with reading it."""

from .base_errors import TemplateError

__all__ = [
    "ChecksumMismatchError",
    "DamagedFileError",
    "DirectoryLoopError",
    "EmptyFileError",
    "GuardDeathError",
    "GuardError",
    "GuardMemoryError",
    "GuardTimeError",
    "HugeClaimError",
    "ImplausibleSizeError",
    "MasterFileError",
    "NoDiskSpaceError",
    "NotANumberError",
    "OversizedTagError",
    "TooManyPagesError",
    "TruncatedFileError",
    "UnknownFormatError",
    "UnsupportedColourError",
    "UnsupportedCompressionError",
    "UnsupportedSampleError",
    "WholePictureError",
    "WorkCancelledError",
]


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
