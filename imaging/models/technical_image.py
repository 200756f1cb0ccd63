"""A technical image: one face in one modality and state, with all that tells it apart."""

import datetime as dt
import uuid
from typing import Any, ClassVar

import pghistory
from django.conf import settings
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from imaging.models.artwork import Face
from imaging.models.campaign import Campaign
from imaging.models.rights import validate_rights_uri
from imaging.models.stored_file import StoredFile
from imaging.models.study import Site, Study

__all__ = [
    "CAPTURE_FIELDS",
    "ImageStatus",
    "Modality",
    "Polarity",
    "TechnicalImage",
    "Visibility",
]


class Modality(models.TextChoices):
    """How the face was made visible; the codes are the trade's usual ones."""

    VISIBLE = "VIS", _("visible light")
    RAKING = "RAK", _("raking light")
    SPECULAR = "SPC", _("specular light")
    TRANSMITTED = "TRL", _("transmitted light")
    UV_LUMINESCENCE = "UVL", _("UV-induced visible luminescence")
    UV_REFLECTED = "UVR", _("reflected UV")
    NEAR_INFRARED = "NIR", _("near-infrared photograph")
    INFRARED_REFLECTOGRAM = "IRR", _("infrared reflectogram")
    FALSE_COLOUR_INFRARED = "FCIR", _("false-colour infrared")
    X_RADIOGRAPH = "XR", _("X-radiograph")
    XRF_MAP = "XRF", _("XRF map")
    MULTISPECTRAL = "MSI", _("multispectral image")
    MACRO = "MAC", _("macro photograph")


class Visibility(models.TextChoices):
    """Who may see an image when no embargo lies on it, from few to all."""

    PRIVATE = "private", _("only the person who brought it in")
    SITE = "site", _("members at the same site")
    STUDY = "study", _("members of the study")
    GUESTS = "guests", _("members and invited guests")
    PUBLIC = "public", _("everybody")


class Polarity(models.TextChoices):
    """Which way round a radiograph is stored."""

    WHITE_IS_DENSE = "white_is_dense", _("white is dense, as on film")
    BLACK_IS_DENSE = "black_is_dense", _("black is dense")


class ImageStatus(models.TextChoices):
    """How far an image has come."""

    WAITING = "waiting", _("waiting")
    READ = "read", _("read")
    PUBLISHED = "published", _("published")
    REFUSED = "refused", _("refused")
    WITHDRAWN = "withdrawn", _("withdrawn")


@pghistory.track(exclude=["metadata", "statistics"])
class TechnicalImage(models.Model):
    """One picture of one face; the master stays untouched, everything here can be corrected with history."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    face = models.ForeignKey(Face, on_delete=models.PROTECT, related_name="images")
    campaign = models.ForeignKey(Campaign, on_delete=models.PROTECT, related_name="images")
    modality = models.CharField(_("modality"), max_length=8, choices=Modality)
    version = models.PositiveIntegerField(default=1)
    title = models.CharField(_("title"), max_length=200, blank=True)
    supersedes = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by")
    same_grid_as = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="aligned")
    master = models.ForeignKey(StoredFile, null=True, blank=True, on_delete=models.PROTECT, related_name="images")
    status = models.CharField(max_length=12, choices=ImageStatus, default=ImageStatus.WAITING)
    refusal = models.TextField(blank=True)

    visibility = models.CharField(_("visible to"), max_length=8, choices=Visibility, default=Visibility.STUDY)
    embargo_until = models.DateField(_("closed until"), null=True, blank=True)
    site = models.ForeignKey(Site, null=True, blank=True, on_delete=models.SET_NULL, related_name="images")
    brought_in_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="images")
    brought_in_at = models.DateTimeField(auto_now_add=True)
    photographer = models.CharField(_("photographer"), max_length=200, blank=True)
    credit_line = models.CharField(_("credit line"), max_length=500, blank=True)
    rights_uri = models.CharField(_("rights"), max_length=200, blank=True, validators=[validate_rights_uri])

    band_from_nm = models.FloatField(_("band from, nm"), null=True, blank=True)
    band_to_nm = models.FloatField(_("band to, nm"), null=True, blank=True)
    light_source = models.CharField(_("light source"), max_length=200, blank=True)
    light_azimuth_deg = models.FloatField(_("light azimuth, degrees"), null=True, blank=True)
    light_elevation_deg = models.FloatField(_("light elevation, degrees"), null=True, blank=True)
    filter_name = models.CharField(_("filter"), max_length=200, blank=True)
    tube_voltage_kv = models.FloatField(_("tube voltage, kV"), null=True, blank=True)
    tube_current_ma = models.FloatField(_("tube current, mA"), null=True, blank=True)
    exposure_s = models.FloatField(_("exposure, s"), null=True, blank=True)
    distance_mm = models.FloatField(_("distance, mm"), null=True, blank=True)
    polarity = models.CharField(_("polarity"), max_length=16, choices=Polarity, blank=True)
    camera = models.CharField(_("camera"), max_length=200, blank=True)
    lens = models.CharField(_("lens"), max_length=200, blank=True)
    element_line = models.CharField(_("element line"), max_length=20, blank=True)
    place_hint = models.CharField(_("place on the work"), max_length=300, blank=True)

    stated_um_per_px = models.FloatField(_("stated sampling, µm per pixel"), null=True, blank=True)
    file_um_per_px = models.FloatField(_("sampling in the file, µm per pixel"), null=True, blank=True)
    width_px = models.PositiveIntegerField(null=True, blank=True)
    height_px = models.PositiveIntegerField(null=True, blank=True)
    band_names = models.JSONField(_("bands"), default=list, blank=True)
    sample_format = models.CharField(_("sample format"), max_length=4, blank=True)
    icc_name = models.CharField(_("ICC profile"), max_length=200, blank=True)
    exif_orientation = models.PositiveSmallIntegerField(default=1)

    metadata = models.JSONField(default=dict, blank=True)
    statistics = models.JSONField(default=dict, blank=True)
    ingest_sheet = models.JSONField(default=list, blank=True)
    tone = models.JSONField(_("display tone"), null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["campaign__begun_on", "modality", "version"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["face", "campaign", "modality", "title", "version"], name="one_image_a_version"
            )
        ]

    def __str__(self) -> str:
        return f"{self.modality} {self.get_state_display_short()} v{self.version}"

    def get_state_display_short(self) -> str:
        """Return the treatment state as one word: before, during, after."""
        return str(self.campaign.state)

    @property
    def study(self) -> Study:
        """The study that the work belongs to."""
        return self.face.artwork.study

    def is_under_embargo(self, today: dt.date | None = None) -> bool:
        """Return whether the image is still closed on a day (default: today)."""
        return self.embargo_until is not None and self.embargo_until > (today or timezone.localdate())

    def capture_data(self) -> dict[str, Any]:
        """Return the capture fields that are filled, by field name."""
        return {name: value for name in CAPTURE_FIELDS if (value := getattr(self, name)) not in (None, "")}


CAPTURE_FIELDS = (
    "band_from_nm",
    "band_to_nm",
    "light_source",
    "light_azimuth_deg",
    "light_elevation_deg",
    "filter_name",
    "tube_voltage_kv",
    "tube_current_ma",
    "exposure_s",
    "distance_mm",
    "polarity",
    "camera",
    "lens",
    "element_line",
    "place_hint",
    "stated_um_per_px",
)
