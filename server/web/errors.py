"""Error pages: what went wrong, where, and how to mend it. Never a trace, never a bare status."""

import logging
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from http import HTTPStatus
from typing import ClassVar
from urllib.parse import quote

from fastapi.exceptions import RequestValidationError
from sqlalchemy.exc import OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeout
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from server.catalog.errors import ArchiveError, Moved, NotSignedIn, TooManyAttempts
from server.statuses import (
    INTERNAL,
    MALFORMED,
    METHOD_NOT_ALLOWED,
    RETRY_SECONDS,
    UNAVAILABLE,
    UNKNOWN_ROUTE,
    Problem,
    Refused,
    problem_of,
)
from server.web.context import PageContext
from server.web.headers import HEADERS
from server.web.render import wants_fragment
from server.web.visit import Elsewhere, Visit

LOG = logging.getLogger(__name__)

SIGN_IN = "/sign-in"

KINDS = (
    Elsewhere,
    ArchiveError,
    Refused,
    HTTPException,
    RequestValidationError,
    OperationalError,
    PoolTimeout,
    Exception,
)
"""All that may go wrong; each is answered by `answer`."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ErrorPage(PageContext):
    """What went wrong; `reference` finds it in the log."""

    template: ClassVar[str] = "pages/error.html"
    problem: Problem
    what: str
    where: str = ""
    mend: str = ""
    reference: str = ""
    headers: Mapping[str, str] = field(default_factory=dict)


def answer(request: Request, error: Exception) -> Response:
    """The page that says what went wrong; a visitor who must sign in first is led there."""
    if isinstance(error, Elsewhere):
        return RedirectResponse(error.path, HTTPStatus.SEE_OTHER)
    if isinstance(error, NotSignedIn) and request.method == "GET" and not wants_fragment(request):
        visit = Visit(request)
        return RedirectResponse(
            f"{SIGN_IN}?next={quote(visit.address, safe='')}", HTTPStatus.SEE_OTHER
        )
    if isinstance(error, Moved) and request.method in ("GET", "HEAD"):
        elsewhere = error.path_of(request.url.path)
        if elsewhere is not None:
            # A merge can be undone: browsers are to ask again, and not to go by what was once so.
            again = {"Cache-Control": "no-cache"}
            return RedirectResponse(elsewhere, HTTPStatus.MOVED_PERMANENTLY, again)
    page = _page(error, request)
    response = _shown(Visit(request), page)
    response.headers.update(page.headers)
    if wants_fragment(request):
        # The region stays, so that the next answer finds it; the error stands inside.
        response.headers["HX-Reswap"] = "innerHTML"
    return response


def _shown(visit: Visit, page: ErrorPage) -> Response:
    try:
        with visit.work():
            return visit.page(page, block="problem", status=page.problem.status)
    except (OperationalError, PoolTimeout):
        # Even without a database the page can be shown, to a visitor.
        return visit.page(page, block="problem", status=page.problem.status)


def _page(error: Exception, request: Request) -> ErrorPage:
    match error:
        case ArchiveError():
            return _of(problem_of(error), error.what, error.where, error.mend, _headers(error))
        case Refused():
            return _of(error.problem, error.what, error.where, error.mend, error.headers)
        case RequestValidationError():
            return _unreadable(error)
        case HTTPException():
            return _of_http(error, request)
        case OperationalError() | PoolTimeout():
            LOG.error("database not reached", exc_info=error)
            wait = {"Retry-After": str(RETRY_SECONDS)}
            return _of(UNAVAILABLE, UNAVAILABLE.meaning, headers=wait)
        case _:
            return _fault(error)


def _of(
    problem: Problem,
    what: str,
    where: str = "",
    mend: str = "",
    headers: Mapping[str, str] | None = None,
) -> ErrorPage:
    return ErrorPage(
        title=problem.title,
        problem=problem,
        what=what,
        where=where,
        mend=mend or problem.mend,
        headers=dict(headers or {}),
    )


def _headers(error: ArchiveError) -> dict[str, str]:
    if isinstance(error, TooManyAttempts):
        return {"Retry-After": str(error.retry_after)}
    return {}


def _unreadable(error: RequestValidationError) -> ErrorPage:
    places = ", ".join(".".join(str(part) for part in each["loc"]) for each in error.errors())
    return _of(MALFORMED, "A part of the address has a value that cannot be read.", places)


def _of_http(error: HTTPException, request: Request) -> ErrorPage:
    known = {404: UNKNOWN_ROUTE, 405: METHOD_NOT_ALLOWED}.get(error.status_code, MALFORMED)
    where = request.url.path if known is not MALFORMED else ""
    what = known.meaning if known is not MALFORMED else str(error.detail)
    return _of(known, what, where, headers=error.headers)


def _fault(error: Exception) -> ErrorPage:
    reference = secrets.token_hex(6)
    LOG.error("reference %s", reference, exc_info=error)
    page = _of(INTERNAL, "The archive failed to answer. The fault is ours, not yours.")
    return ErrorPage(
        title=page.title,
        problem=page.problem,
        what=page.what,
        mend=f"Tell the archive the reference {reference}. Nothing was changed.",
        reference=reference,
        # This answer is made outside of what else adds them.
        headers=HEADERS,
    )
