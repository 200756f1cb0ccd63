"""API of studies, artworks, faces, frames and campaigns: reading, and what their contributors may write."""

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.generics import ListAPIView, RetrieveAPIView
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from imaging.access import (
    access_artwork,
    access_campaign,
    access_face,
    access_frame,
    access_study,
    artworks_open_to,
    campaigns_open_to,
    faces_open_to,
    frames_open_to,
    require_role,
    role_in_study,
    studies_open_to,
)
from imaging.models import Artwork, Campaign, Datum, Face, Frame, Role, Study
from imaging.services.framing import FrameDescription, set_up_frame

__all__ = [
    "ArtworkDetail",
    "ArtworkList",
    "CampaignDetail",
    "CampaignList",
    "FaceDetail",
    "FaceFrames",
    "FaceList",
    "FrameDetail",
    "FrameList",
    "StudyDetail",
    "StudyList",
]


class StudySerializer(serializers.ModelSerializer[Study]):
    """A study with the reader's own role in it."""

    role = serializers.SerializerMethodField()

    class Meta:
        model = Study
        fields: ClassVar = ["id", "name", "summary", "role"]

    def get_role(self, study: Study) -> str | None:
        """Return what the reader may do there."""
        return role_in_study(self.context["request"].user, study.pk)


class FrameSerializer(serializers.ModelSerializer[Frame]):
    """A frame version; all lengths in mm."""

    class Meta:
        model = Frame
        fields: ClassVar = [
            "id",
            "face",
            "version",
            "datum",
            "datum_note",
            "width_mm",
            "height_mm",
            "size_uncertainty_mm",
            "scale_uncertainty",
            "canvas_pitch_mm",
            "outline_mm",
            "mm_from_previous_mm",
            "reason",
            "made_at",
        ]


class FaceSerializer(serializers.ModelSerializer[Face]):
    """One side of a work."""

    class Meta:
        model = Face
        fields: ClassVar = ["id", "artwork", "kind"]


class ArtworkSerializer(serializers.ModelSerializer[Artwork]):
    """A work with its faces; sizes height before width."""

    faces = FaceSerializer(many=True, read_only=True)

    class Meta:
        model = Artwork
        fields: ClassVar = [
            "id",
            "study",
            "part_of",
            "inventory_number",
            "title",
            "maker",
            "medium",
            "dating",
            "earliest_year",
            "latest_year",
            "height_mm",
            "width_mm",
            "depth_mm",
            "size_of",
            "owner",
            "credit_line",
            "rights_uri",
            "faces",
        ]


class CampaignSerializer(serializers.ModelSerializer[Campaign]):
    """One visit of the camera."""

    class Meta:
        model = Campaign
        fields: ClassVar = ["id", "artwork", "state", "step", "begun_on", "ended_on", "site", "place", "note"]


class StudyList(ListAPIView[Study]):
    """Studies that the reader takes part in."""

    serializer_class = StudySerializer
    queryset = Study.objects.none()

    def get_queryset(self) -> Any:
        """Return what is open to the reader."""
        return studies_open_to(self.request.user).order_by("name")


class StudyDetail(RetrieveAPIView[Study]):
    """One study."""

    serializer_class = StudySerializer

    def get_object(self) -> Study:
        """Return it through the door."""
        return access_study(self.request.user, self.kwargs["pk"])


class ArtworkList(ListAPIView[Artwork]):
    """Works open to the reader."""

    serializer_class = ArtworkSerializer
    queryset = Artwork.objects.none()

    def get_queryset(self) -> Any:
        """Return what is open to the reader."""
        return artworks_open_to(self.request.user).prefetch_related("faces").order_by("inventory_number")


class ArtworkDetail(RetrieveAPIView[Artwork]):
    """One work."""

    serializer_class = ArtworkSerializer

    def get_object(self) -> Artwork:
        """Return it through the door."""
        return access_artwork(self.request.user, self.kwargs["pk"])


class FaceList(ListAPIView[Face]):
    """Faces open to the reader."""

    serializer_class = FaceSerializer
    queryset = Face.objects.none()

    def get_queryset(self) -> Any:
        """Return what is open to the reader."""
        return faces_open_to(self.request.user).order_by("artwork__inventory_number", "kind")


class FaceDetail(RetrieveAPIView[Face]):
    """One face."""

    serializer_class = FaceSerializer

    def get_object(self) -> Face:
        """Return it through the door."""
        return access_face(self.request.user, self.kwargs["pk"])


class FrameList(ListAPIView[Frame]):
    """Frame versions open to the reader."""

    serializer_class = FrameSerializer
    queryset = Frame.objects.none()

    def get_queryset(self) -> Any:
        """Return what is open to the reader."""
        return frames_open_to(self.request.user).order_by("face", "version")


class FrameDetail(RetrieveAPIView[Frame]):
    """One frame version."""

    serializer_class = FrameSerializer

    def get_object(self) -> Frame:
        """Return it through the door."""
        return access_frame(self.request.user, self.kwargs["pk"])


class NewFrameSerializer(serializers.Serializer[Any]):
    """What is stated about a frame."""

    width_mm = serializers.FloatField()
    height_mm = serializers.FloatField()
    datum = serializers.ChoiceField(choices=Datum.choices, default=Datum.PAINTED_SURFACE_TOP_LEFT)
    datum_note = serializers.CharField(max_length=300, default="", allow_blank=True)
    size_uncertainty_mm = serializers.FloatField(default=1.0)
    canvas_pitch_mm = serializers.FloatField(default=0.02)
    outline_mm = serializers.ListField(
        child=serializers.ListField(child=serializers.FloatField(), min_length=2, max_length=2), default=list
    )


class FaceFrames(APIView):
    """Set up the frame of a face (contributors)."""

    @extend_schema(request=NewFrameSerializer, responses={201: FrameSerializer})
    def post(self, request: Request, pk: str) -> Response:
        """Make version 1 of the frame."""
        face = access_face(request.user, pk)
        require_role(request.user, face.artwork.study, Role.CONTRIBUTOR)
        stated = NewFrameSerializer(data=request.data)
        stated.is_valid(raise_exception=True)
        outline_mm = tuple((x_mm, y_mm) for x_mm, y_mm in stated.validated_data.pop("outline_mm"))
        description = FrameDescription(**stated.validated_data, outline_mm=outline_mm)
        frame = set_up_frame(face, description, made_by=request.user)
        return Response(FrameSerializer(frame).data, status=201)


class CampaignList(ListAPIView[Campaign]):
    """Campaigns open to the reader."""

    serializer_class = CampaignSerializer
    queryset = Campaign.objects.none()

    def get_queryset(self) -> Any:
        """Return what is open to the reader."""
        return campaigns_open_to(self.request.user).order_by("begun_on")


class CampaignDetail(RetrieveAPIView[Campaign]):
    """One campaign."""

    serializer_class = CampaignSerializer

    def get_object(self) -> Campaign:
        """Return it through the door."""
        return access_campaign(self.request.user, self.kwargs["pk"])
