"""Resumable uploads by the open protocol tus 1.0, answered before Django: bytes go straight to the disk.

Core, creation, creation-with-upload, expiration, checksum and termination (https://tus.io/protocols/resumable-upload,
version 1.0.0). How much has arrived is the length of the file, so neither side can lose count, however it ends.
"""

import asyncio
import contextlib
import hashlib
import io
import uuid
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from http import HTTPStatus
from typing import Any, ParamSpec, TypeVar

from django.core.handlers.asgi import ASGIRequest
from django.db import close_old_connections
from django.http import HttpResponse
from django.middleware.csrf import CsrfViewMiddleware

from imaging.access import Viewer
from imaging.api.scope_person import credential_from_scope, header, person_from_scope
from imaging.api.upload_answers import Answer, Receive, Scope, Send, discovery, upload_headers
from imaging.api.upload_body import BodyWriter
from imaging.api.upload_requests import (
    read_checksum,
    read_metadata,
    read_number,
    refuse_body_type,
    refuse_other_version,
    upload_id_of,
)
from imaging.errors import (
    ChunkChecksumError,
    ForeignOriginError,
    ImagingError,
    NotFoundError,
    UploadOffsetError,
    UploadTooLargeError,
)
from imaging.models import Upload
from imaging.services.uploading import (
    Outcome,
    arrived_bytes_of,
    begin_upload,
    end_upload,
    find_upload,
    finish_upload,
    has_outcome,
    keep_alive,
    written_upload,
)

__all__ = ["UploadApplication"]

_P = ParamSpec("_P")
_R = TypeVar("_R")

#: A complete file is hashed and brought in before the last answer, if that takes no longer than this; a client that
#: got no image asks again. Proxies give up after 30 to 60 s.
_FINISH_WAIT_S = 20.0
#: tus 1.0, checksum extension.
_CHECKSUM_MISMATCH = 460
_SAFE_METHODS = ("GET", "HEAD", "OPTIONS")
_METHODS = ("OPTIONS", "POST", "GET", "HEAD", "PATCH", "DELETE")


class UploadApplication:
    """ASGI application for /uploads/; `problem_of` turns an error into problem details with their status."""

    def __init__(self, problem_of: Callable[[Any], dict[str, Any]]):
        self.problem_of = problem_of
        self.threads = ThreadPoolExecutor(max_workers=8, thread_name_prefix="upload")
        self.finishers = ThreadPoolExecutor(max_workers=2, thread_name_prefix="upload-finish")
        self.finishing: dict[uuid.UUID, asyncio.Future[Outcome]] = {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request; every refusal is a problem document."""
        try:
            answer = await self.answer(scope, receive)
        except ImagingError as error:
            answer = self.refusal(error)
        await answer.send(send, is_head=scope["method"] == "HEAD")

    async def answer(self, scope: Scope, receive: Receive) -> Answer:
        """Return the answer to one request."""
        method = header(scope, b"x-http-method-override").upper() or scope["method"]
        if method == "OPTIONS":
            return discovery()
        if method not in _METHODS:
            return Answer(HTTPStatus.METHOD_NOT_ALLOWED, {"Allow": ", ".join(_METHODS)})
        if method != "GET":
            refuse_other_version(header(scope, b"tus-resumable"))
        if method not in _SAFE_METHODS:
            await self.refuse_foreign_origin(scope)
        viewer = await person_from_scope(scope)
        upload_id = upload_id_of(scope["path"])
        if method == "POST" and upload_id is None:
            return await self.create(scope, receive, viewer=viewer)
        if upload_id is None:
            raise NotFoundError(noun="upload", identifier=scope["path"])
        upload = await self.in_thread(find_upload, viewer, upload_id)
        if method == "PATCH":
            refuse_body_type(header(scope, b"content-type"))
            offset = read_number("Upload-Offset", header(scope, b"upload-offset"))
            return await self.append(scope, receive, upload=upload, offset=offset)
        if method == "DELETE":
            await self.in_thread(end_upload, upload)
            return Answer(HTTPStatus.NO_CONTENT)
        return await self.status(upload, is_document=method == "GET")

    def refusal(self, error: ImagingError) -> Answer:
        """Return the problem document of an error."""
        problem = self.problem_of(error)
        if isinstance(error, ChunkChecksumError):
            problem |= {"status": _CHECKSUM_MISMATCH, "title": "Checksum Mismatch"}
        return Answer.problem(problem)

    async def refuse_foreign_origin(self, scope: Scope) -> None:
        """Check a request that carries a session's cookie as Django checks its own forms: origin and token.

        A bearer token is sent by nobody but its holder, so it needs no such check.
        """
        credential = credential_from_scope(scope)
        if credential.bearer or not credential.session_key:
            return
        await self.in_thread(_refuse_forged, scope)

    async def create(self, scope: Scope, receive: Receive, *, viewer: Viewer) -> Answer:
        """Begin an upload; its first bytes may come along."""
        size_bytes = read_number("Upload-Length", header(scope, b"upload-length"))
        metadata = read_metadata(header(scope, b"upload-metadata"))
        upload = await self.in_thread(
            begin_upload,
            viewer,
            face_id=metadata.face_id,
            size_bytes=size_bytes,
            name=metadata.name,
            fields=metadata.fields,
        )
        headers = {"Location": f"/uploads/{upload.pk}", **upload_headers(upload)}
        if header(scope, b"content-type").startswith("application/offset+octet-stream"):
            first = await self.append(scope, receive, upload=upload, offset=0)
            headers |= first.headers
            if first.status >= HTTPStatus.BAD_REQUEST:
                return Answer(first.status, headers, first.body)
        return Answer(HTTPStatus.CREATED, headers)

    async def append(self, scope: Scope, receive: Receive, *, upload: Upload, offset: int) -> Answer:
        """Write what comes to the end of the file, then say how far it is; bring a complete file in."""
        if has_outcome(upload):
            raise UploadOffsetError(given=offset, current=upload.size_bytes)
        checksum = read_checksum(header(scope, b"upload-checksum"))
        arrived = await self.write_body(scope, receive, upload=upload, offset=offset, checksum=checksum)
        await self.in_thread(keep_alive, upload)
        headers = {"Upload-Offset": str(arrived), **upload_headers(upload)}
        if arrived < upload.size_bytes:
            return Answer(HTTPStatus.NO_CONTENT, headers)
        outcome = await self.finish(upload)
        if outcome.error is not None:
            refused = self.refusal(outcome.error)
            return Answer(refused.status, refused.headers | headers, refused.body)
        return Answer(HTTPStatus.NO_CONTENT, headers | _outcome_headers(outcome))

    async def write_body(
        self, scope: Scope, receive: Receive, *, upload: Upload, offset: int, checksum: tuple[str, bytes] | None
    ) -> int:
        """Write the body of a request behind `offset`; return how much has arrived in all.

        What arrived before the client was lost is kept; a part whose checksum is wrong is dropped.
        """
        with contextlib.ExitStack() as stack:
            descriptor = stack.enter_context(written_upload(upload))
            writer = BodyWriter(descriptor, limit_bytes=upload.size_bytes)
            if writer.position != offset:
                raise UploadOffsetError(given=offset, current=writer.position)
            announced = read_number("Content-Length", header(scope, b"content-length") or "0")
            if offset + announced > upload.size_bytes:
                raise UploadTooLargeError(size_bytes=offset + announced, limit_bytes=upload.size_bytes)
            digest = hashlib.new(checksum[0], usedforsecurity=False) if checksum else None
            is_whole = await writer.write_all(receive, digest=digest, threads=self.threads)
            if writer.is_overrun:
                await self.in_thread(writer.drop_from, offset)
                raise UploadTooLargeError(size_bytes=upload.size_bytes + 1, limit_bytes=upload.size_bytes)
            if is_whole and checksum and digest and digest.digest() != checksum[1]:
                await self.in_thread(writer.drop_from, offset)
                raise ChunkChecksumError(algorithm=checksum[0], current=offset)
            return writer.position

    async def status(self, upload: Upload, *, is_document: bool) -> Answer:
        """Return how far an upload is; a complete one that was never brought in is finished now."""
        arrived = await self.in_thread(arrived_bytes_of, upload)
        outcome = Outcome(upload.slip.get("outcome", {}))
        if arrived == upload.size_bytes and not has_outcome(upload):
            outcome = await self.finish(upload)
        headers = {
            "Upload-Offset": str(arrived),
            "Upload-Length": str(upload.size_bytes),
            **upload_headers(upload),
            **_outcome_headers(outcome),
        }
        if not is_document:
            return Answer(HTTPStatus.OK, headers)
        document = {"id": str(upload.pk), "offset": arrived, "size_bytes": upload.size_bytes, **outcome.texts}
        return Answer.json(document, headers)

    async def finish(self, upload: Upload) -> Outcome:
        """Bring a complete upload in, in a thread; wait a while for it, an empty outcome means it goes on."""
        task = self.finishing.get(upload.pk)
        if task is None:
            loop = asyncio.get_running_loop()
            task = asyncio.ensure_future(loop.run_in_executor(self.finishers, _with_database, finish_upload, upload.pk))
            self.finishing[upload.pk] = task
            task.add_done_callback(lambda _: self.finishing.pop(upload.pk, None))
        done, _ = await asyncio.wait({task}, timeout=_FINISH_WAIT_S)
        return task.result() if done else Outcome({})

    async def in_thread(self, function: Callable[_P, _R], *arguments: _P.args, **named: _P.kwargs) -> _R:
        """Call a function that may wait for the database or the disk."""
        loop = asyncio.get_running_loop()
        return await loop.run_in_executor(self.threads, lambda: _with_database(function, *arguments, **named))


def _with_database(function: Callable[_P, _R], *arguments: _P.args, **named: _P.kwargs) -> _R:
    """Call a function in a pool thread without using a database connection that has died meanwhile."""
    close_old_connections()
    try:
        return function(*arguments, **named)
    finally:
        close_old_connections()


def _refuse_forged(scope: Scope) -> None:
    """Let Django's own check judge origin and token of a request; it reads headers and cookies only."""
    request = ASGIRequest({**scope, "method": "PATCH"}, body_file=io.BytesIO())
    check = CsrfViewMiddleware(lambda _: HttpResponse())
    check.process_request(request)
    if check.process_view(request, lambda _: HttpResponse(), (), {}) is not None:
        raise ForeignOriginError


def _outcome_headers(outcome: Outcome) -> dict[str, str]:
    """Return the ids of an image that an upload became, for clients that read headers only."""
    names = {"image": "Mahlstick-Image", "job": "Mahlstick-Job", "duplicate_of": "Mahlstick-Duplicate-Of"}
    return {name: outcome.texts[key] for key, name in names.items() if key in outcome.texts}
