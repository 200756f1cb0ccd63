"""API of studies, artworks, faces and campaigns."""

from typing import Any, ClassVar

from rest_framework import serializers
from rest_framework.generics import ListAPIView, RetrieveAPIView

from imaging.access import (
    access_artwork,
    access_campaign,
    access_face,
    access_study,
    artworks_open_to,
    campaigns_open_to,
    faces_open_to,
    role_in_study,
    studies_open_to,
)
from imaging.models import Artwork, Campaign, Face, Study
from imaging.services.works import WORK_FIELDS

__all__ = [
    "ArtworkDetail",
    "ArtworkList",
    "ArtworkSerializer",
    "CampaignDetail",
    "CampaignList",
    "CampaignSerializer",
    "FaceDetail",
    "FaceList",
    "FaceSerializer",
    "StudyDetail",
    "StudyList",
    "StudySerializer",
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
            *WORK_FIELDS,
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
