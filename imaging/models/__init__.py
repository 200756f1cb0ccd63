"""Rows of the database: one noun a module."""

from imaging.models.artwork import Artwork, Face, FaceKind, SizeOf
from imaging.models.campaign import Campaign, TreatmentState
from imaging.models.frame import Datum, Frame
from imaging.models.job import Job, JobKind, JobStatus
from imaging.models.person import Person
from imaging.models.pyramid import Pyramid, PyramidKind
from imaging.models.registration import ControlPoint, PointKind, Registration, RegistrationMethod, RegistrationStatus
from imaging.models.stored_file import StoredFile
from imaging.models.study import Invitation, Membership, Role, Site, Study
from imaging.models.technical_image import ImageStatus, Modality, TechnicalImage, Visibility
from imaging.models.token import ApiToken
from imaging.models.upload import Upload

__all__ = [
    "ApiToken",
    "Artwork",
    "Campaign",
    "ControlPoint",
    "Datum",
    "Face",
    "FaceKind",
    "Frame",
    "ImageStatus",
    "Invitation",
    "Job",
    "JobKind",
    "JobStatus",
    "Membership",
    "Modality",
    "Person",
    "PointKind",
    "Pyramid",
    "PyramidKind",
    "Registration",
    "RegistrationMethod",
    "RegistrationStatus",
    "Role",
    "Site",
    "SizeOf",
    "StoredFile",
    "Study",
    "TechnicalImage",
    "TreatmentState",
    "Upload",
    "Visibility",
]
