"""API of registrations: the list, making one from points or a scale, judging one."""

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.generics import ListAPIView
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from imaging.access import access_image, access_registration, images_open_to, require_role
from imaging.errors import UnfitStateError
from imaging.interop.control_points_csv import ControlPointRow
from imaging.models import ControlPoint, PointKind, Registration, Role
from imaging.services.framing import current_frame
from imaging.services.publishing import start_publishing
from imaging.services.registering import (
    WantedFit,
    accept_registration,
    refuse_registration,
    register_by_control_points,
    register_by_stated_scale,
)

__all__ = [
    "ControlPointSerializer",
    "ImageRegistrations",
    "JudgementSerializer",
    "NewRegistrationSerializer",
    "RegistrationDetail",
    "RegistrationJudgement",
    "RegistrationList",
    "RegistrationSerializer",
]

_MODELS = ["similarity", "affine", "projective", "smooth"]


class ControlPointSerializer(serializers.ModelSerializer[ControlPoint]):
    """One point with what the fit says of it."""

    class Meta:
        model = ControlPoint
        fields: ClassVar = [
            "label",
            "kind",
            "x_mm",
            "y_mm",
            "x_px",
            "y_px",
            "residual_mm",
            "leave_one_out_mm",
            "is_slip",
        ]
        read_only_fields: ClassVar = ["residual_mm", "leave_one_out_mm", "is_slip"]


class RegistrationSerializer(serializers.ModelSerializer[Registration]):
    """A registration with its map, quality and points."""

    points = ControlPointSerializer(many=True, read_only=True)
    frame_version = serializers.IntegerField(source="frame.version", read_only=True)

    class Meta:
        model = Registration
        fields: ClassVar = [
            "id",
            "image",
            "frame",
            "frame_version",
            "version",
            "method",
            "model",
            "status",
            "map",
            "quality",
            "uncertainty",
            "quality_notes",
            "software_version",
            "made_at",
            "judged_at",
            "judgement",
            "points",
        ]


class NewRegistrationSerializer(serializers.Serializer[Any]):
    """Either points with a model, or a stated scale with the pixel of 0, 0."""

    model = serializers.ChoiceField(choices=_MODELS, default="affine")
    points = ControlPointSerializer(many=True, required=False)
    may_be_mirrored = serializers.BooleanField(default=False)
    pitch_mm = serializers.FloatField(required=False, min_value=1e-5, max_value=10)
    datum_px = serializers.ListField(child=serializers.FloatField(), min_length=2, max_length=2, required=False)


class JudgementSerializer(serializers.Serializer[Any]):
    """A judgement with its reason."""

    accept = serializers.BooleanField()
    reason = serializers.CharField(max_length=500, default="", allow_blank=True)


class RegistrationList(ListAPIView[Registration]):
    """Registrations of images open to the reader."""

    serializer_class = RegistrationSerializer
    queryset = Registration.objects.none()

    def get_queryset(self) -> Any:
        """Return what is open to the reader."""
        rows = Registration.objects.filter(image__in=images_open_to(self.request.user))
        return rows.select_related("frame").prefetch_related("points").order_by("image", "version")


class RegistrationDetail(APIView):
    """One registration."""

    @extend_schema(responses=RegistrationSerializer)
    def get(self, request: Request, pk: str) -> Response:
        """Return it through the door."""
        return Response(RegistrationSerializer(access_registration(request.user, pk)).data)


class ImageRegistrations(APIView):
    """Make a candidate registration of an image (contributors)."""

    @extend_schema(request=NewRegistrationSerializer, responses={201: RegistrationSerializer})
    def post(self, request: Request, pk: str) -> Response:
        """Fit the points, or take the stated scale; nothing is published before somebody accepts it."""
        image = access_image(request.user, pk)
        author = require_role(request.user, image.study, needed=Role.CONTRIBUTOR)
        wanted = NewRegistrationSerializer(data=request.data)
        wanted.is_valid(raise_exception=True)
        frame = current_frame(image.face)
        if frame is None:
            raise UnfitStateError(
                noun="face", state="without a frame", needed="framed", remedy="Set up the frame of the face first."
            )
        data = wanted.validated_data
        if points := data.get("points"):
            registration = register_by_control_points(
                image,
                frame,
                wanted=WantedFit([_row_of(point) for point in points], data["model"], data["may_be_mirrored"]),
                made_by=author,
            )
        else:
            registration = register_by_stated_scale(
                image, frame, made_by=author, pitch_mm=data.get("pitch_mm"), datum_px=data.get("datum_px")
            )
        return Response(RegistrationSerializer(registration).data, status=201)


def _row_of(point: dict[str, Any]) -> ControlPointRow:
    """Return a control point as the services take it."""
    return ControlPointRow(
        point["label"],
        (point["x_mm"], point["y_mm"]),
        (point["x_px"], point["y_px"]),
        is_check=point.get("kind") == PointKind.CHECK,
    )


class RegistrationJudgement(APIView):
    """Accept or refuse a candidate (contributors); acceptance publishes."""

    @extend_schema(request=JudgementSerializer, responses=RegistrationSerializer)
    def post(self, request: Request, pk: str) -> Response:
        """Judge it with a reason."""
        registration = access_registration(request.user, pk)
        judge = require_role(request.user, registration.image.study, needed=Role.CONTRIBUTOR)
        judgement = JudgementSerializer(data=request.data)
        judgement.is_valid(raise_exception=True)
        reason = judgement.validated_data["reason"]
        if judgement.validated_data["accept"]:
            registration = accept_registration(registration, judge=judge, reason=reason)
            start_publishing(registration, wanted_by=judge)
        else:
            registration = refuse_registration(registration, judge=judge, reason=reason)
        return Response(RegistrationSerializer(registration).data)
