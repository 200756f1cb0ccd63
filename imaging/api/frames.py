"""API of faces' frames: reading versions, setting one up, correcting it."""

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.generics import ListAPIView, RetrieveAPIView
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from imaging.access import access_face, access_frame, frames_open_to, require_role
from imaging.models import Datum, Frame, RegistrationStatus, Role
from imaging.services.framing import FrameDescription, change_of_measure, correct_frame, set_up_frame
from imaging.services.publishing import start_publishing

__all__ = [
    "FaceFrames",
    "FrameCorrectionSerializer",
    "FrameCorrections",
    "FrameDetail",
    "FrameList",
    "FrameSerializer",
    "NewFrameSerializer",
]


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
        author = require_role(request.user, face.artwork.study, needed=Role.CONTRIBUTOR)
        stated = NewFrameSerializer(data=request.data)
        stated.is_valid(raise_exception=True)
        frame = set_up_frame(face, _description_of(stated.validated_data), made_by=author)
        return Response(FrameSerializer(frame).data, status=201)


#: Fields of a frame's description that pass through as they are.
_STATED_FIELDS = ("width_mm", "height_mm", "datum", "datum_note", "size_uncertainty_mm", "canvas_pitch_mm")


def _description_of(stated: dict[str, Any]) -> FrameDescription:
    """Return the description of a frame from its checked fields."""
    outline_mm = tuple((x_mm, y_mm) for x_mm, y_mm in stated["outline_mm"])
    return FrameDescription(**{name: stated[name] for name in _STATED_FIELDS}, outline_mm=outline_mm)


class FrameCorrectionSerializer(NewFrameSerializer):
    """New measured lengths, and where the new zero lies in the old frame."""

    zero_at_mm = serializers.ListField(child=serializers.FloatField(), min_length=2, max_length=2, default=[0.0, 0.0])
    reason = serializers.CharField(max_length=500)


class FrameCorrections(APIView):
    """Correct a frame by a new version (contributors); what hangs on it is carried over and laid anew."""

    @extend_schema(request=FrameCorrectionSerializer, responses={201: FrameSerializer})
    def post(self, request: Request, pk: str) -> Response:
        """Make the next version and publish every image in it."""
        frame = access_frame(request.user, pk)
        author = require_role(request.user, frame.face.artwork.study, needed=Role.CONTRIBUTOR)
        stated = FrameCorrectionSerializer(data=request.data)
        stated.is_valid(raise_exception=True)
        description = _description_of(stated.validated_data)
        x_mm, y_mm = stated.validated_data["zero_at_mm"]
        change = change_of_measure(frame, description, zero_at_mm=(x_mm, y_mm))
        new = correct_frame(frame, description, change=change, made_by=author, reason=stated.validated_data["reason"])
        for registration in new.registrations.filter(status=RegistrationStatus.ACCEPTED):
            start_publishing(registration, wanted_by=author)
        return Response(FrameSerializer(new).data, status=201)
