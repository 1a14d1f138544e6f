"""The API as an application of its own, so that whatever fails in it is answered in its form."""

from functools import partial
from typing import Any, Final

from fastapi import APIRouter, Depends, FastAPI, Response
from fastapi.openapi.utils import get_openapi
from starlette.types import Scope

from server.api import (
    by_example,
    comparisons,
    condition_reports,
    families,
    fixity,
    history,
    images,
    load_sheets,
    loans,
    merging,
    photos,
    places,
    preparing,
    problems,
    program_parts,
    programs,
    punchings,
    queues,
    search,
    shelf_checks,
    sign_in,
    state,
    strips,
    tape_requests,
    tapes,
    vocabularies,
    work,
)
from server.api.head import HeadAsGet
from server.api.models import ListingLineOut
from server.delivery.bodies import JSON_LIMIT, BodyLimit, is_form
from server.inspection import CodeLineFacts
from server.settings import Settings

MOUNT: Final = "/api"
VERSION: Final = "/v1"

ROUTERS: Final[tuple[APIRouter, ...]] = (
    images.router,
    comparisons.router,
    merging.router,
    preparing.router,
    strips.router,
    families.router,
    search.router,
    by_example.router,
    tapes.router,
    programs.router,
    program_parts.router,
    history.router,
    vocabularies.router,
    punchings.router,
    load_sheets.router,
    condition_reports.router,
    photos.router,
    places.router,
    loans.router,
    tape_requests.router,
    shelf_checks.router,
    queues.router,
    fixity.router,
    state.router,
    work.router,
    sign_in.router,
)

_ABOUT: Final = """\
Punched program tapes: their images, what those say, and the records around them.

Anybody may read. A change needs a token (POST /api/v1/tokens), or the sign-in of a browser with
its secret in X-CSRF-Token. Every failure is a problem document (RFC 9457,
application/problem+json) whose type leads to its help.

Frames are counted from 0, lines and pages from 1. Lengths are in millimetres at a pitch of
2.54 mm a frame (ECMA-10); sizes are in bytes, one a frame; times are in UTC.
"""


def mount(app: FastAPI) -> None:
    """Serve the API under `/api` of `app`, with the state (engine, settings) that `app` has."""
    api = FastAPI(docs_url=None, redoc_url=None, openapi_url=f"{VERSION}/openapi.json")
    api.state = app.state
    for router in ROUTERS:
        api.include_router(router, prefix=VERSION, dependencies=[Depends(_ask_again)])
    problems.install(api)
    api.add_middleware(BodyLimit, limit_of=lambda scope: _limit(app, scope))
    api.add_middleware(HeadAsGet)
    api.openapi = partial(description, api)  # type: ignore[method-assign]  # the framework's way
    # The pages tell of the API as well, but may not know it.
    app.state.describe_api = api.openapi
    app.mount(MOUNT, api, name="api")


def _ask_again(response: Response) -> None:
    """Records change, and some answers are for one person: kept by nobody without asking."""
    response.headers["Cache-Control"] = "private, no-cache"


def _limit(app: FastAPI, scope: Scope) -> int:
    if is_form(scope):
        settings: Settings = app.state.settings
        holds_photo = scope["path"].endswith("/photos")
        return settings.photo_limit_bytes if holds_photo else settings.upload_limit_bytes
    return JSON_LIMIT


def description(api: FastAPI) -> dict[str, Any]:
    """The description of the API (OpenAPI 3.1), made once; its paths are those of the site."""
    if api.openapi_schema is None:
        schema = get_openapi(
            title="Feedhole",
            version="1",
            summary="An archive of punched program tapes.",
            description=_ABOUT,
            routes=api.routes,
        )
        schema["paths"] = {f"{MOUNT}{path}": item for path, item in schema["paths"].items()}
        schemas = schema["components"]["schemas"]
        for model in (problems.ProblemOut, problems.FieldProblem, ListingLineOut, CodeLineFacts):
            schemas.setdefault(model.__name__, _schema_of(model))
        _take_out_the_frameworks_own(schema)
        api.openapi_schema = schema
    return api.openapi_schema


def _take_out_the_frameworks_own(schema: dict[str, Any]) -> None:
    """The framework would answer wrong values in a form of its own; here nothing does."""
    for name in ("HTTPValidationError", "ValidationError"):
        schema["components"]["schemas"].pop(name, None)
    for item in schema["paths"].values():
        for told in item.values():
            answer = told["responses"].get("422", {})
            if "application/json" in answer.get("content", {}):
                del told["responses"]["422"]


def _schema_of(model: Any) -> dict[str, Any]:
    schema: dict[str, Any] = model.model_json_schema(
        mode="serialization", ref_template="#/components/schemas/{model}"
    )
    schema.pop("$defs", None)
    return schema
