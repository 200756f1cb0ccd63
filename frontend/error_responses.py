"""One table from exception to HTTP status; bodies are RFC 9457 problem details with an extra member `code`."""

from collections.abc import Callable
from http import HTTPStatus
from typing import Any

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from rest_framework.exceptions import APIException
from rest_framework.exceptions import ValidationError as FieldErrors
from rest_framework.response import Response
from rest_framework.views import exception_handler

from annotations import errors as annotation_errors
from imaging import errors as imaging_errors
from imaging import map_errors

__all__ = ["STATUS_OF", "ProblemMiddleware", "problem_from_exception", "problem_of", "status_of"]

_ProblemError = imaging_errors.ImagingError | annotation_errors.AnnotationError
_PROBLEM_TYPE = "application/problem+json"

#: Most specific class first; a class without its own line takes that of its nearest base.
STATUS_OF: dict[type[Exception], HTTPStatus] = {
    imaging_errors.NotFoundError: HTTPStatus.NOT_FOUND,
    imaging_errors.ImageClosedError: HTTPStatus.FORBIDDEN,
    imaging_errors.RoleNeededError: HTTPStatus.FORBIDDEN,
    imaging_errors.InvitationEndedError: HTTPStatus.GONE,
    imaging_errors.EditConflictError: HTTPStatus.PRECONDITION_FAILED,
    imaging_errors.RevisionMissingError: HTTPStatus.PRECONDITION_REQUIRED,
    imaging_errors.UnfitStateError: HTTPStatus.CONFLICT,
    imaging_errors.FieldRefusedError: HTTPStatus.BAD_REQUEST,
    imaging_errors.JobLostError: HTTPStatus.CONFLICT,
    imaging_errors.NoDiskSpaceError: HTTPStatus.INSUFFICIENT_STORAGE,
    imaging_errors.ProtocolVersionError: HTTPStatus.PRECONDITION_FAILED,
    imaging_errors.UploadTooLargeError: HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
    imaging_errors.UploadOffsetError: HTTPStatus.CONFLICT,
    imaging_errors.UploadBusyError: HTTPStatus.LOCKED,
    imaging_errors.UploadGoneError: HTTPStatus.GONE,
    imaging_errors.ForeignOriginError: HTTPStatus.FORBIDDEN,
    imaging_errors.MasterFileError: HTTPStatus.UNPROCESSABLE_ENTITY,
    map_errors.MapError: HTTPStatus.UNPROCESSABLE_ENTITY,
    map_errors.ControlPointError: HTTPStatus.UNPROCESSABLE_ENTITY,
    imaging_errors.TableRefusedError: HTTPStatus.BAD_REQUEST,
    imaging_errors.FileUnreadableError: HTTPStatus.UNPROCESSABLE_ENTITY,
    imaging_errors.UploadError: HTTPStatus.BAD_REQUEST,
    imaging_errors.UploadRequestError: HTTPStatus.BAD_REQUEST,
    imaging_errors.ChunkChecksumError: HTTPStatus.BAD_REQUEST,
    imaging_errors.WorkCancelledError: HTTPStatus.CONFLICT,
    imaging_errors.BuildInProgressError: HTTPStatus.CONFLICT,
    imaging_errors.TemplateError: HTTPStatus.UNPROCESSABLE_ENTITY,
    imaging_errors.ImagingError: HTTPStatus.BAD_REQUEST,
    annotation_errors.AnnotationWithdrawnError: HTTPStatus.GONE,
    annotation_errors.OthersWordsError: HTTPStatus.FORBIDDEN,
    annotation_errors.GeometryError: HTTPStatus.BAD_REQUEST,
    annotation_errors.MeasurementError: HTTPStatus.BAD_REQUEST,
    annotation_errors.DocumentFormatError: HTTPStatus.BAD_REQUEST,
    annotation_errors.AnnotationError: HTTPStatus.BAD_REQUEST,
}


def status_of(error: _ProblemError) -> HTTPStatus:
    """Return the status of an error's class or of its nearest base in the table."""
    return next(STATUS_OF[kind] for kind in type(error).__mro__ if kind in STATUS_OF)


def problem_of(error: _ProblemError) -> dict[str, Any]:
    """Return the problem details of one of our errors: title, status, detail, code and its numbers."""
    status = status_of(error)
    numbers = {name: value for name, value in vars(error).items() if isinstance(value, str | int | float | list | dict)}
    body = {"type": "about:blank", "title": status.phrase, "status": int(status), "detail": str(error)}
    return {**numbers, **body, "code": error.code}


def problem_from_exception(error: Exception, context: dict[str, Any]) -> Response | None:
    """Answer an API request that failed; what is not known here becomes a plain 500."""
    if isinstance(error, _ProblemError):
        problem = problem_of(error)
        return Response(problem, status=problem["status"], content_type=_PROBLEM_TYPE)
    if isinstance(error, ValidationError):
        error = FieldErrors(detail=error.message_dict if hasattr(error, "error_dict") else error.messages)
    response = exception_handler(error, context)
    if response is None:
        return None
    is_fields = isinstance(error, FieldErrors)
    code = "fields_refused" if is_fields else getattr(error, "default_code", "error")
    detail = _("Some fields cannot be used.") if is_fields else str(getattr(error, "detail", error))
    response.data = {
        "type": "about:blank",
        "title": HTTPStatus(response.status_code).phrase,
        "status": response.status_code,
        "detail": detail,
        "code": code,
        **({"fields": error.detail} if isinstance(error, APIException) and is_fields else {}),
    }
    response.content_type = _PROBLEM_TYPE
    return response


class ProblemMiddleware:
    """Answer our own errors raised in pages: a readable page, or problem details where JSON was asked for."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on; errors arrive in `process_exception`."""
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        """Return the answer to one of our errors; others are left to Django."""
        if not isinstance(error, _ProblemError):
            return None
        problem = problem_of(error)
        if request.accepts("text/html") and not request.path.startswith("/api/"):
            return render(request, "problem.html", {"problem": problem}, status=problem["status"])
        return JsonResponse(problem, status=problem["status"], content_type=_PROBLEM_TYPE)
