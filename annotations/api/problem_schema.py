"""How refusals look in the OpenAPI document: RFC 9457 problem details with a code."""

from typing import Any

from rest_framework import serializers

__all__ = ["ProblemSerializer", "refusals"]

_MEDIA_TYPE = "application/problem+json"


class ProblemSerializer(serializers.Serializer[Any]):
    """What was got, what is needed, what to do; further members carry the numbers of the case."""

    type = serializers.CharField()
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField()
    code = serializers.CharField(help_text="Stable name of the case.")


def refusals(*statuses: int) -> dict[Any, Any]:
    """Return the answers with these statuses as the schema describes them."""
    return {(status, _MEDIA_TYPE): ProblemSerializer for status in sorted(statuses)}
