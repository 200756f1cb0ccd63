"""Lists come in pages: `results` and the address of the `next` page."""

from collections import OrderedDict
from typing import Any

from rest_framework.pagination import LimitOffsetPagination
from rest_framework.response import Response

__all__ = ["ListPagination"]


class ListPagination(LimitOffsetPagination):
    """One hundred rows unless `limit` says otherwise, one thousand at most."""

    default_limit = 100
    max_limit = 1000

    def get_paginated_response(self, data: Any) -> Response:
        """Return results with count, next and previous."""
        return Response(
            OrderedDict(count=self.count, next=self.get_next_link(), previous=self.get_previous_link(), results=data)
        )
