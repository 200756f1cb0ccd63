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

from .base_errors import (
    ImagingError,
    TemplateError,
)
from .master_errors import (
    ChecksumMismatchError,
    DamagedFileError,
    DirectoryLoopError,
    EmptyFileError,
    GuardDeathError,
    GuardError,
    GuardMemoryError,
    GuardTimeError,
    HugeClaimError,
    ImplausibleSizeError,
    MasterFileError,
    NoDiskSpaceError,
    NotANumberError,
    OversizedTagError,
    TooManyPagesError,
    TruncatedFileError,
    UnknownFormatError,
    UnsupportedColourError,
    UnsupportedCompressionError,
    UnsupportedSampleError,
    WholePictureError,
    WorkCancelledError,
)
from .pixel_errors import (
    BuildInProgressError,
    DamagedPyramidError,
    NoRandomAccessError,
    UntaggedColourError,
    UnusableProfileError,
)
from .row_errors import (
    EditConflictError,
    FieldRefusedError,
    ImageClosedError,
    InvitationEndedError,
    NotFoundError,
    RevisionMissingError,
    RoleNeededError,
    UnfitStateError,
)
from .upload_errors import (
    ChunkChecksumError,
    ForeignOriginError,
    ProtocolVersionError,
    UploadBusyError,
    UploadError,
    UploadGoneError,
    UploadOffsetError,
    UploadRequestError,
    UploadTooLargeError,
)
from .work_errors import (
    FileUnreadableError,
    JobLostError,
    TableRefusedError,
)

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
