"""API of technical images: reading them and correcting what is written about them."""

import uuid
from typing import Any, ClassVar

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.generics import ListAPIView
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from imaging.access import (
    access_face,
    access_image,
    images_known_to,
    images_open_to,
    require_role,
    sheet_lines_known_to,
)
from imaging.api.addresses import origin_of, tile_address_template, window_address_template
from imaging.models import PyramidKind, Role, TechnicalImage
from imaging.services.correcting import CORRECTABLE_FIELDS, correct_image
from imaging.services.publishing import current_pyramid
from imaging.services.registering import current_registration

__all__ = ["ImageDetail", "ImageList", "ImageSerializer"]


def _known_ids(request: Request) -> set[uuid.UUID]:
    """Return the images that the reader may know of, asked once a request."""
    kept: set[uuid.UUID] | None = getattr(request, "known_image_ids", None)
    if kept is None:
        kept = set(images_known_to(request.user).values_list("pk", flat=True))
        setattr(request, "known_image_ids", kept)  # noqa: B010 - the request's class does not declare it
    return kept


class ImageSerializer(serializers.ModelSerializer[TechnicalImage]):
    """An image with the templates of its tiles and rendered windows."""

    artwork = serializers.UUIDField(source="face.artwork_id", read_only=True)
    state = serializers.CharField(source="campaign.state", read_only=True)
    sha256 = serializers.CharField(source="master.sha256", default=None, read_only=True)
    is_closed = serializers.BooleanField(source="is_under_embargo", read_only=True)
    tile_url = serializers.SerializerMethodField()
    window_url = serializers.SerializerMethodField()
    raw_tile_url = serializers.SerializerMethodField()
    registration = serializers.SerializerMethodField()
    supersedes = serializers.SerializerMethodField()
    same_grid_as = serializers.SerializerMethodField()
    ingest_sheet = serializers.SerializerMethodField()

    class Meta:
        model = TechnicalImage
        fields: ClassVar = [
            "id",
            "artwork",
            "face",
            "campaign",
            "state",
            "modality",
            "title",
            "version",
            "status",
            "refusal",
            "supersedes",
            "same_grid_as",
            "is_closed",
            *CORRECTABLE_FIELDS,
            "site",
            "brought_in_at",
            "file_um_per_px",
            "width_px",
            "height_px",
            "band_names",
            "sample_format",
            "icc_name",
            "exif_orientation",
            "ingest_sheet",
            "tone",
            "sha256",
            "tile_url",
            "window_url",
            "raw_tile_url",
            "registration",
        ]
        read_only_fields: ClassVar = [name for name in fields if name not in CORRECTABLE_FIELDS]

    @extend_schema_field(OpenApiTypes.UUID)
    def get_supersedes(self, image: TechnicalImage) -> str | None:
        """Return the version before this one, if the reader may know of it."""
        return self.if_known(image.supersedes_id)

    @extend_schema_field(OpenApiTypes.UUID)
    def get_same_grid_as(self, image: TechnicalImage) -> str | None:
        """Return the image that this one lies exactly upon, if the reader may know of it."""
        return self.if_known(image.same_grid_as_id)

    def get_ingest_sheet(self, image: TechnicalImage) -> list[dict[str, Any]]:
        """Return the sheet, silent about images that the reader may not know of."""
        return sheet_lines_known_to(self.context["request"].user, image)

    def if_known(self, image_id: uuid.UUID | None) -> str | None:
        """Return an identifier only to those who may know that the image exists."""
        return str(image_id) if image_id in _known_ids(self.context["request"]) else None

    def tile_template(self, image: TechnicalImage, kind: PyramidKind) -> str | None:
        """Return the tile template of the current pyramid of a kind."""
        return tile_address_template(current_pyramid(image, kind), origin=origin_of(self.context["request"]))

    @extend_schema_field(OpenApiTypes.URI)
    def get_tile_url(self, image: TechnicalImage) -> str | None:
        """Return the template of the tiles laid into the frame; None before publication."""
        return self.tile_template(image, PyramidKind.DISPLAY)

    @extend_schema_field(OpenApiTypes.URI)
    def get_raw_tile_url(self, image: TechnicalImage) -> str | None:
        """Return the template of the tiles in the image's own pixels."""
        return self.tile_template(image, PyramidKind.RAW_DISPLAY)

    @extend_schema_field(OpenApiTypes.URI)
    def get_window_url(self, image: TechnicalImage) -> str:
        """Return the template of rendered windows."""
        return window_address_template(image, origin=origin_of(self.context["request"]))

    def get_registration(self, image: TechnicalImage) -> dict[str, Any] | None:
        """Return the accepted registration in short."""
        registration = current_registration(image)
        if registration is None:
            return None
        return {
            "id": str(registration.pk),
            "version": registration.version,
            "frame": str(registration.frame_id),
            "frame_version": registration.frame.version,
            "method": registration.method,
            "quality": registration.quality,
        }


class ImageList(ListAPIView[TechnicalImage]):
    """Images open to the reader; `face` narrows to one face."""

    serializer_class = ImageSerializer
    queryset = TechnicalImage.objects.none()

    def get_queryset(self) -> Any:
        """Return what is open to the reader."""
        images = images_open_to(self.request.user).select_related("face", "campaign", "master")
        if face_id := self.request.query_params.get("face"):
            images = images.filter(face=access_face(self.request.user, face_id))
        return images.order_by("campaign__begun_on", "modality", "version", "id")


class ImageDetail(APIView):
    """One image; contributors may correct what is written about it, with history."""

    @extend_schema(responses=ImageSerializer)
    def get(self, request: Request, pk: str) -> Response:
        """Return it through the door; a closed one says until when to those who may know."""
        return Response(ImageSerializer(access_image(request.user, pk), context={"request": request}).data)

    @extend_schema(request=ImageSerializer, responses=ImageSerializer)
    def patch(self, request: Request, pk: str) -> Response:
        """Correct capture data, visibility or embargo."""
        image = access_image(request.user, pk)
        needs_lead = {"visibility", "embargo_until"} & set(request.data)
        editor = require_role(request.user, image.study, needed=Role.LEAD if needs_lead else Role.CONTRIBUTOR)
        changes = ImageSerializer(image, data=request.data, partial=True, context={"request": request})
        changes.is_valid(raise_exception=True)
        image = correct_image(image, changes=dict(changes.validated_data), editor=editor)
        return Response(ImageSerializer(image, context={"request": request}).data)
