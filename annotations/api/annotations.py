"""API of annotations: list, draw, read, change, withdraw, history."""

from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.generics import GenericAPIView
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from annotations.access import (
    access_annotation,
    access_annotation_history,
    access_annotation_to_change,
    access_annotation_to_withdraw,
    access_face_to_draw,
    acting_person,
    annotations_of_face,
    annotations_open_to,
)
from annotations.api.annotation_serializers import (
    AnnotationChangeSerializer,
    AnnotationListQuery,
    AnnotationSerializer,
    NewAnnotationSerializer,
    RevisionListSerializer,
)
from annotations.api.problem_schema import refusals
from annotations.api.revision_headers import etag_of, expected_revision
from annotations.errors import AnnotationConflictError
from annotations.models import Annotation, AnnotationQuerySet
from annotations.services.changing import change_annotation, withdraw_annotation
from annotations.services.drawing import DrawnOn, draw_annotation
from annotations.services.history import revisions_of
from annotations.services.words import Words
from imaging.access import Viewer, access_face, access_frame, access_image, access_registration
from imaging.errors import EditConflictError

__all__ = ["AnnotationDetail", "AnnotationList", "AnnotationRevisions"]

# Spelt with its media type like the refusals beside it, by which a list is told from a single row.
_JSON = "application/json"
_IF_MATCH = OpenApiParameter(
    "If-Match", str, OpenApiParameter.HEADER, required=True, description='The revision the change began from: "3".'
)


def _answer(annotation: Annotation, *, status: int = 200) -> Response:
    """Return an annotation with its tag."""
    headers = {"ETag": etag_of(annotation), "Cache-Control": "private, no-cache"}
    return Response(AnnotationSerializer(annotation).data, status=status, headers=headers)


def _conflict_seen_by(viewer: Viewer, conflict: EditConflictError, annotation_id: object) -> AnnotationConflictError:
    """Return the conflict with what the annotation says now, so that both can be shown side by side."""
    current = AnnotationSerializer(access_annotation(viewer, annotation_id)).data
    return AnnotationConflictError(conflict, current_state=dict(current))


def _drawn_on(viewer: Viewer, data: dict[str, Any]) -> DrawnOn:
    """Return image and registration that a new annotation names, through the door."""
    image_id, registration_id = data.get("drawn_on_image"), data.get("drawn_on_registration")
    registration = access_registration(viewer, registration_id) if registration_id else None
    image = registration.image if registration is not None else None
    if image_id:
        image = access_image(viewer, image_id)
    return DrawnOn(image, registration, access_frame(viewer, data["frame"]) if data.get("frame") else None)


class AnnotationList(GenericAPIView[Annotation]):
    """Annotations open to the reader; contributors draw new ones."""

    serializer_class = AnnotationSerializer
    queryset = Annotation.objects.none()

    def narrowed(self, query: AnnotationListQuery) -> AnnotationQuerySet:
        """Return the rows that a query asks for, in the order of their numbers."""
        viewer, data = self.request.user, query.validated_data
        if "face" in data:
            rows = annotations_of_face(viewer, access_face(viewer, data["face"]))
        else:
            rows = annotations_open_to(viewer).order_by("face", "number")
        if "image" in data:
            rows = rows.filter(drawn_on_image=data["image"])
        window = query.window()
        if window is not None:
            x_mm, y_mm, width_mm, height_mm = window
            rows = rows.within_window(x_mm, y_mm, width_mm=width_mm, height_mm=height_mm)
        return rows

    @extend_schema(
        parameters=[AnnotationListQuery],
        responses={(200, _JSON): AnnotationSerializer(many=True), **refusals(400, 401, 404)},
    )
    def get(self, request: Request) -> Response:
        """Return a page of annotations."""
        query = AnnotationListQuery(data=request.query_params)
        query.is_valid(raise_exception=True)
        page = self.paginate_queryset(self.narrowed(query))
        return self.get_paginated_response(AnnotationSerializer(page, many=True).data)

    @extend_schema(
        request=NewAnnotationSerializer,
        responses={(201, _JSON): AnnotationSerializer, **refusals(400, 401, 403, 404, 409, 415)},
    )
    def post(self, request: Request) -> Response:
        """Draw an annotation on a face (contributors)."""
        wanted = NewAnnotationSerializer(data=request.data)
        wanted.is_valid(raise_exception=True)
        data = wanted.validated_data
        annotation = draw_annotation(
            access_face_to_draw(request.user, data["face"]),
            shape_mm=data["geometry"],
            words=Words(**wanted.words()),
            author=acting_person(request.user),
            drawn_on=_drawn_on(request.user, data),
        )
        response = _answer(annotation, status=201)
        response["Location"] = response.data["url"]
        return response


class AnnotationDetail(APIView):
    """One annotation; its author changes it, its author or a lead withdraws it."""

    @extend_schema(responses={(200, _JSON): AnnotationSerializer, **refusals(401, 404, 410)})
    def get(self, request: Request, pk: str) -> Response:
        """Return it with its revision as ETag."""
        return _answer(access_annotation(request.user, pk))

    @extend_schema(
        parameters=[_IF_MATCH],
        request=AnnotationChangeSerializer,
        responses={(200, _JSON): AnnotationSerializer, **refusals(400, 401, 403, 404, 410, 412, 415, 428)},
    )
    def patch(self, request: Request, pk: str) -> Response:
        """Change shape, words or both as one revision."""
        annotation = access_annotation_to_change(request.user, pk)
        revision = expected_revision(request)
        wanted = AnnotationChangeSerializer(data=request.data)
        wanted.is_valid(raise_exception=True)
        try:
            changed = change_annotation(
                annotation,
                shape_mm=wanted.validated_data.get("geometry"),
                words=wanted.words(),
                editor=acting_person(request.user),
                expected_revision=revision,
            )
        except EditConflictError as conflict:
            raise _conflict_seen_by(request.user, conflict, pk) from conflict
        return _answer(changed)

    @extend_schema(parameters=[_IF_MATCH], responses={204: None, **refusals(400, 401, 403, 404, 410, 412, 428)})
    def delete(self, request: Request, pk: str) -> Response:
        """Withdraw it; afterwards its address answers 410 and its history stays."""
        annotation = access_annotation_to_withdraw(request.user, pk)
        try:
            withdraw_annotation(
                annotation, editor=acting_person(request.user), expected_revision=expected_revision(request)
            )
        except EditConflictError as conflict:
            raise _conflict_seen_by(request.user, conflict, pk) from conflict
        return Response(status=204)


class AnnotationRevisions(APIView):
    """What an annotation said before."""

    @extend_schema(responses={(200, _JSON): RevisionListSerializer, **refusals(401, 404, 410)})
    def get(self, request: Request, pk: str) -> Response:
        """Return every revision with author, time and what it changed."""
        annotation = access_annotation_history(request.user, pk)
        return Response(RevisionListSerializer({"results": revisions_of(annotation)}).data)
