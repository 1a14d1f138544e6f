"""Everything put together: one application for one set of settings, and no other place to wire."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, nullcontext

from anyio.to_thread import current_default_thread_limiter
from fastapi import FastAPI
from starlette.middleware.gzip import DEFAULT_EXCLUDED_CONTENT_TYPES, GZipMiddleware

from server import api, web
from server.catalog import published
from server.catalog.work import COMMAND, unit_of_work
from server.jobs.background import Background
from server.settings import Settings
from server.store.engine import make_engine
from server.store.migration import migrate
from server.web import errors
from server.web.headers import SecurityHeaders
from server.web.statics import Statics

AS_THEY_ARE = (*DEFAULT_EXCLUDED_CONTENT_TYPES, "application/octet-stream")
"""Images go out uncompressed, so that their digest is that of the bytes that arrive."""


def create_app(settings: Settings) -> FastAPI:
    """The application; its database is brought up to this release when it starts."""
    app = FastAPI(lifespan=_lifespan, openapi_url=None)
    app.state.settings = settings
    app.state.engine = make_engine(settings)
    app.state.background = None
    app.add_middleware(GZipMiddleware, compresslevel=5, exclude_content_types=AS_THEY_ARE)
    app.add_middleware(SecurityHeaders, secure=settings.secure_cookies)
    for failure in errors.KINDS:
        app.add_exception_handler(failure, errors.answer)
    for router in web.ROUTERS:
        app.include_router(router)
    api.mount(app)
    app.mount("/static", Statics(), name="static")
    return app


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    settings: Settings = app.state.settings
    current_default_thread_limiter().total_tokens = settings.max_threads
    migrate(app.state.engine)
    with unit_of_work(app.state.engine, COMMAND) as work:
        published.let_in(work, demo=settings.demo)
    try:
        with Background(settings) if settings.background_work else nullcontext() as background:
            app.state.background = background
            yield
    finally:
        app.state.engine.dispose()
