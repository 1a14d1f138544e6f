"""Every failure as a problem document: RFC 9457, `application/problem+json`."""

import logging
import secrets
from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any, Final

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, RedirectResponse, Response
from pydantic import BaseModel, Field
from sqlalchemy.exc import OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeout
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server import statuses
from server.catalog.errors import ArchiveError, Conflict, Moved, TooManyAttempts
from server.catalog.input_sentences import sentence
from server.delivery.bodies import BodyTooLarge
from server.statuses import Problem, Refused, problem_of

MEDIA_TYPE: Final = "application/problem+json"

_LOG = logging.getLogger(__name__)


class FieldProblem(BaseModel):
    """What is wrong with one field of a request."""

    field: str = Field(description="Name of the field; a dot leads into a list or an object.")
    detail: str = Field(description="What is wrong with it, and what would be right.")


class ProblemOut(BaseModel):
    """A problem document (RFC 9457)."""

    type: str = Field(description="URI of the kind of problem; leads to its help.")
    title: str = Field(description="The kind of problem in words.")
    status: int = Field(description="The HTTP status code.")
    detail: str = Field(description="What is wrong this time.")
    instance: str = Field(description="What the request was for.")
    code: str = Field(description="The kind of problem as a short name, for programs.")
    where: str = Field(description="The field, header, record or frame concerned; may be empty.")
    mend: str = Field(description="What to do about it.")
    errors: list[FieldProblem] = Field(description="Each field that cannot be taken.")
    limit_bytes: int | None = Field(None, description="The limit that an upload went over.")
    revision: int | None = Field(None, description="The current revision of a stale record.")
    reference: str | None = Field(None, description="What the fault is logged under.")


def document(
    request: Request,
    problem: Problem,
    detail: str,
    *,
    where: str = "",
    mend: str = "",
    fields: Mapping[str, str] | None = None,
    headers: Mapping[str, str] | None = None,
    **extra: object,
) -> JSONResponse:
    """The response that tells `problem`; `extra` are further members of the document."""
    body = ProblemOut.model_validate(
        {
            "type": problem.type,
            "title": problem.title,
            "status": problem.status,
            "detail": detail,
            "instance": request.url.path,
            "code": problem.code,
            "where": where,
            "mend": mend or problem.mend,
            "errors": [{"field": name, "detail": why} for name, why in (fields or {}).items()],
        }
        | extra
    )
    return JSONResponse(
        body.model_dump(exclude_none=True),
        problem.status,
        headers={"Cache-Control": "no-store", **(headers or {})},
        media_type=MEDIA_TYPE,
    )


def refuse_by_archive(request: Request, error: ArchiveError) -> Response:
    """What the catalog refused; what was moved is led to, where somebody only reads."""
    extra: dict[str, object] = {}
    headers: dict[str, str] = {}
    if isinstance(error, Moved) and request.method in ("GET", "HEAD"):
        elsewhere = error.path_of(request.url.path)
        if elsewhere is not None:
            again = {"Cache-Control": "no-cache"}
            return RedirectResponse(elsewhere, HTTPStatus.PERMANENT_REDIRECT, again)
    if isinstance(error, Conflict) and error.revision is not None:
        extra["revision"] = error.revision
    if problem_of(error).status == HTTPStatus.UNAUTHORIZED:
        headers["WWW-Authenticate"] = 'Bearer realm="archive"'
    if isinstance(error, TooManyAttempts):
        headers["Retry-After"] = str(error.retry_after)
    if hasattr(error, "limit"):
        extra["limit_bytes"] = error.limit
    return document(
        request,
        problem_of(error),
        error.what,
        where=error.where,
        mend=error.mend,
        fields=error.fields,
        headers=headers,
        **extra,
    )


def refuse_request(request: Request, error: Refused) -> JSONResponse:
    """What was refused before the catalog was asked."""
    return document(
        request,
        error.problem,
        error.what,
        where=error.where,
        mend=error.mend,
        fields=error.fields,
        headers=error.headers,
    )


def refuse_values(request: Request, error: RequestValidationError) -> JSONResponse:
    """What does not fit the schema: unreadable, of another kind, or with fields to mend."""
    faults = error.errors()
    if any(each["type"] == "json_invalid" for each in faults):
        at = faults[0]["loc"][-1]
        return document(
            request, statuses.MALFORMED, f"The body is not JSON: see character {at}.", where="body"
        )
    if _announced_otherwise(request) and any(each["loc"] == ("body",) for each in faults):
        return document(
            request, statuses.WRONG_MEDIA_TYPE, "The body is not JSON.", where="Content-Type"
        )
    fields = {_field(each["loc"]): sentence(each) for each in faults}
    return document(
        request,
        statuses.PROBLEMS["invalid"],
        "Some of what was given cannot be taken.",
        where=", ".join(fields),
        mend=" ".join(f"{name}: {why}" for name, why in fields.items()),
        fields=fields,
    )


def _announced_otherwise(request: Request) -> bool:
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    return bool(kind) and kind != "application/json" and not kind.endswith("+json")


def _field(location: Sequence[int | str]) -> str:
    """The name of a field from where it was found: the first part says in what."""
    return ".".join(str(part) for part in location[1:]) or str(location[0])


_BY_STATUS: Final = {
    HTTPStatus.NOT_FOUND: statuses.UNKNOWN_ROUTE,
    HTTPStatus.METHOD_NOT_ALLOWED: statuses.METHOD_NOT_ALLOWED,
    HTTPStatus.BAD_REQUEST: statuses.MALFORMED,
}


def refuse_by_framework(request: Request, error: HTTPException) -> JSONResponse:
    """What the web framework itself refused."""
    if isinstance(error, BodyTooLarge):
        return document(
            request,
            statuses.PROBLEMS["too-large"],
            f"What was sent is over the limit of {error.limit:,} bytes.",
            where="body",
            limit_bytes=error.limit,
        )
    problem = _BY_STATUS.get(HTTPStatus(error.status_code), statuses.MALFORMED)
    where = {statuses.UNKNOWN_ROUTE: "address", statuses.METHOD_NOT_ALLOWED: request.method}
    return document(
        request, problem, problem.meaning, where=where.get(problem, ""), headers=error.headers
    )


def tell_busy(request: Request, error: OperationalError | PoolTimeout) -> JSONResponse:
    """The database did not answer in time."""
    _LOG.warning("the database did not answer: %s", error)
    return document(
        request,
        statuses.UNAVAILABLE,
        statuses.UNAVAILABLE.meaning,
        headers={"Retry-After": str(statuses.RETRY_SECONDS)},
    )


def tell_fault(request: Request, error: Exception) -> JSONResponse:
    """A fault of ours: logged whole under a reference, told without any detail."""
    reference = secrets.token_hex(6)
    _LOG.error("reference %s: %s %s", reference, request.method, request.url.path, exc_info=error)
    return document(request, statuses.INTERNAL, statuses.INTERNAL.meaning, reference=reference)


_HANDLERS: Final[Mapping[type[Exception], Any]] = {
    ArchiveError: refuse_by_archive,
    Refused: refuse_request,
    RequestValidationError: refuse_values,
    HTTPException: refuse_by_framework,
    OperationalError: tell_busy,
    PoolTimeout: tell_busy,
}


def install(app: FastAPI) -> None:
    """Make `app` answer every failure with a problem document."""
    app.add_middleware(Faults)
    for kind, handler in _HANDLERS.items():
        app.add_exception_handler(kind, handler)


class Faults:
    """ASGI middleware: answers whatever else happens, so that no page tries to as well."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve the request."""
        started = False

        async def noting(message: Message) -> None:
            nonlocal started
            started = True
            await send(message)

        try:
            await self.app(scope, receive, noting)
        except Exception as error:
            if started:
                # Half an answer is out; only breaking off tells that it is not whole.
                raise
            await tell_fault(Request(scope), error)(scope, receive, send)


EVERYWHERE: Final = ("not-signed-in", "insufficient-scope", "internal", "unavailable")
"""What any route may answer: a token that stands for nobody is refused even for reading."""


BODY: Final = ("malformed", "too-large", "wrong-media-type", "invalid")
"""What a route may answer that reads a body."""

CHANGE: Final = (*BODY, "not-allowed", "not-from-here")
"""What a route may answer that reads a body and changes something for who is signed in."""


def responses(*codes: str) -> dict[int | str, dict[str, Any]]:
    """The failures of a route, for its description, by the codes of `statuses.PROBLEMS`."""
    described: dict[int | str, dict[str, Any]] = {}
    for code in dict.fromkeys((*codes, *EVERYWHERE)):
        problem = statuses.PROBLEMS[code]
        held = described.setdefault(
            problem.status, {"content": {MEDIA_TYPE: {"schema": PROBLEM_SCHEMA}}, "description": ""}
        )
        held["description"] = " ".join(filter(None, (held["description"], f"{problem.title}.")))
    return described


PROBLEM_SCHEMA: Final = {"$ref": "#/components/schemas/ProblemOut"}
