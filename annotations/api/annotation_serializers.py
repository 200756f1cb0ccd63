"""The JSON of annotations: what goes out, and what a person may send."""

import math
from dataclasses import asdict
from typing import Any, ClassVar

from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from shapely.geometry.base import BaseGeometry

from annotations.compute.geometries import geometry_from_json, geometry_to_json
from annotations.models import Annotation, Certainty
from annotations.services.exporting import annotation_iri
from annotations.services.measuring import measurements_of
from annotations.services.placing import shape_of
from annotations.services.words import LONGEST_TEXT, WORD_FIELDS

__all__ = [
    "AnnotationChangeSerializer",
    "AnnotationListQuery",
    "AnnotationSerializer",
    "NewAnnotationSerializer",
    "RevisionListSerializer",
]

_GEOMETRY_SCHEMA = {
    "type": "object",
    "description": "A geometry as GeoJSON spells it, in millimetres of the frame, x to the right, y down.",
    "required": ["type", "coordinates"],
    "properties": {
        "type": {
            "type": "string",
            "enum": ["Point", "MultiPoint", "LineString", "MultiLineString", "Polygon", "MultiPolygon"],
        },
        "coordinates": {"type": "array", "items": {}},
    },
}


@extend_schema_field(_GEOMETRY_SCHEMA)
class _ShapeField(serializers.Field[BaseGeometry, Any, Any, Any]):
    """A shape in millimetres; one that cannot be kept is refused with its reason and place."""

    def to_internal_value(self, data: Any) -> BaseGeometry:
        """Return the shape of a geometry document."""
        return geometry_from_json(data)

    def to_representation(self, value: BaseGeometry) -> Any:
        """Return the geometry document of a shape."""
        return geometry_to_json(value)


class _PersonNameSerializer(serializers.Serializer[Any]):
    """Somebody by name."""

    id = serializers.UUIDField()
    name = serializers.CharField()


class _MeasurementsSerializer(serializers.Serializer[Any]):
    """What can be measured on a shape, with the uncertainty at 95 %; null where it makes no sense."""

    length_mm = serializers.FloatField(allow_null=True)
    area_mm2 = serializers.FloatField(allow_null=True)
    count = serializers.IntegerField(allow_null=True)
    uncertainty_mm = serializers.FloatField(allow_null=True)
    area_uncertainty_mm2 = serializers.FloatField(allow_null=True)
    pixel_pitch_mm = serializers.FloatField(allow_null=True)
    registration_radius95_mm = serializers.FloatField(allow_null=True)
    can_resolve = serializers.BooleanField(allow_null=True)
    resolvable_mm = serializers.FloatField(allow_null=True)
    sentence = serializers.CharField()


class AnnotationSerializer(serializers.ModelSerializer[Annotation]):
    """An annotation with its measurements."""

    frame_version = serializers.IntegerField(source="frame.version", read_only=True)
    geometry = serializers.SerializerMethodField()
    certainty = serializers.SerializerMethodField()
    drawn_on_registration_version = serializers.IntegerField(
        source="drawn_on_registration.version", default=None, allow_null=True, read_only=True
    )
    author = _PersonNameSerializer(read_only=True)
    revision = serializers.IntegerField(source="revision_number", read_only=True)
    measurements = serializers.SerializerMethodField()
    url = serializers.SerializerMethodField()

    class Meta:
        model = Annotation
        fields: ClassVar = [
            "id",
            "key",
            "face",
            "frame",
            "frame_version",
            "geometry",
            *WORD_FIELDS,
            "drawn_on_image",
            "drawn_on_registration",
            "drawn_on_registration_version",
            "author",
            "created_at",
            "edited_at",
            "revision",
            "measurements",
            "url",
        ]
        read_only_fields = fields

    @extend_schema_field(_GEOMETRY_SCHEMA)
    def get_geometry(self, annotation: Annotation) -> Any:
        """Return the shape in millimetres."""
        return geometry_to_json(shape_of(annotation))

    @extend_schema_field(serializers.ChoiceField(choices=Certainty.choices, allow_null=True))
    def get_certainty(self, annotation: Annotation) -> str | None:
        """Return how sure the author is; null while nothing was said."""
        return annotation.certainty or None

    @extend_schema_field(_MeasurementsSerializer)
    def get_measurements(self, annotation: Annotation) -> Any:
        """Return what can be measured."""
        return asdict(measurements_of(annotation))

    @extend_schema_field(serializers.URLField())
    def get_url(self, annotation: Annotation) -> str:
        """Return the address that names the annotation for good."""
        return annotation_iri(annotation)


class _StrictSerializer(serializers.Serializer[Any]):
    """Refuses fields it does not know, so that a misspelt one is not lost in silence."""

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Name every unknown field."""
        unknown = set(self.initial_data) - set(self.fields)
        if unknown:
            raise serializers.ValidationError({name: [_("This field is not known here.")] for name in sorted(unknown)})
        return attrs


class _WordsSerializer(_StrictSerializer):
    """The written fields; what is not sent stays, or is empty on a new annotation."""

    subject = serializers.CharField(max_length=40, allow_blank=True, required=False)
    title = serializers.CharField(max_length=200, allow_blank=True, required=False)
    observation = serializers.CharField(max_length=LONGEST_TEXT, allow_blank=True, required=False)
    interpretation = serializers.CharField(max_length=LONGEST_TEXT, allow_blank=True, required=False)
    text_language = serializers.CharField(max_length=35, required=False)
    certainty = serializers.ChoiceField(choices=Certainty.choices, allow_null=True, allow_blank=True, required=False)
    certainty_reason = serializers.CharField(max_length=500, allow_blank=True, required=False)

    def words(self) -> dict[str, str]:
        """Return the written fields that were sent; no certainty is an empty word."""
        return {name: self.validated_data[name] or "" for name in WORD_FIELDS if name in self.validated_data}


class NewAnnotationSerializer(_WordsSerializer):
    """What is drawn: a shape on a face, in sight of an image."""

    face = serializers.UUIDField()
    geometry = _ShapeField()
    frame = serializers.UUIDField(
        allow_null=True, required=False, help_text="Frame version that the millimetres belong to; else the newest."
    )
    drawn_on_image = serializers.UUIDField(allow_null=True, required=False)
    drawn_on_registration = serializers.UUIDField(allow_null=True, required=False)


class AnnotationChangeSerializer(_WordsSerializer):
    """Another shape, other words, or both."""

    geometry = _ShapeField(required=False)


class AnnotationListQuery(serializers.Serializer[Any]):
    """What narrows the list: a face, an image, a window of the frame in millimetres."""

    face = serializers.UUIDField(required=False)
    image = serializers.UUIDField(required=False, help_text="Only those drawn on this image.")
    x_mm = serializers.FloatField(required=False, help_text="Left side of the window; all four or none.")
    y_mm = serializers.FloatField(required=False, help_text="Upper side of the window.")
    width_mm = serializers.FloatField(required=False, min_value=0)
    height_mm = serializers.FloatField(required=False, min_value=0)

    WINDOW: ClassVar = ("x_mm", "y_mm", "width_mm", "height_mm")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Refuse half a window and numbers that are none."""
        given = [name for name in self.WINDOW if name in attrs]
        missing = [name for name in self.WINDOW if name not in attrs]
        if given and missing:
            raise serializers.ValidationError({name: [_("A window needs all four numbers.")] for name in missing})
        for name in given:
            if not math.isfinite(attrs[name]):
                raise serializers.ValidationError({name: [_("A finite number of millimetres is needed.")]})
        return attrs

    def window(self) -> tuple[float, float, float, float] | None:
        """Return the window as left, top, width and height in mm."""
        if "x_mm" not in self.validated_data:
            return None
        x_mm, y_mm, width_mm, height_mm = (self.validated_data[name] for name in self.WINDOW)
        return x_mm, y_mm, width_mm, height_mm


class _ChangeSerializer(serializers.Serializer[Any]):
    """One field before and after."""

    # Named `field` in the document; a declared `field` would hide an attribute of the class.
    before = serializers.JSONField()
    after = serializers.JSONField()

    def get_fields(self) -> Any:
        """Return the fields with `field` first."""
        return {"field": serializers.CharField(), **super().get_fields()}


class _RevisionSerializer(serializers.Serializer[Any]):
    """One revision: who, when, what changed."""

    number = serializers.IntegerField()
    editor = _PersonNameSerializer(allow_null=True)
    made_at = serializers.DateTimeField()
    changes = _ChangeSerializer(many=True)


class RevisionListSerializer(serializers.Serializer[Any]):
    """Every revision, the oldest first."""

    results = _RevisionSerializer(many=True)
