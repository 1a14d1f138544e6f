"""Everything put together: one application for one set of settings, and no other place to wire."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from anyio import to_thread
from fastapi import FastAPI
from starlette.middleware.gzip import DEFAULT_EXCLUDED_CONTENT_TYPES, GZipMiddleware

from server import api, web
from server.catalog import published
from server.catalog.dialects import formats_of
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
    """The application; its database is brought up to this release when it starts.

    Raises:
        Invalid: a dialect that the settings name cannot be read.
    """
    app = FastAPI(lifespan=_lifespan, openapi_url=None)
    app.state.settings = settings
    app.state.formats = formats_of(settings.dialects)
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
    to_thread.current_default_thread_limiter().total_tokens = settings.max_threads
    migrate(app.state.engine)
    with unit_of_work(app.state.engine, COMMAND) as work:
        published.let_in(work, demo=settings.demo)
    try:
        async with _background(settings) as app.state.background:
            yield
    finally:
        app.state.engine.dispose()


@asynccontextmanager
async def _background(settings: Settings) -> AsyncIterator[Background | None]:
    """Background work, if the settings want it; its engine starts outside the event loop."""
    if not settings.background_work:
        yield None
        return
    background = Background(settings, keeps_schedule=True)
    await to_thread.run_sync(background.start)
    try:
        yield background
    finally:
        await to_thread.run_sync(background.stop)
