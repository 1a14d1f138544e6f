"""Who calls: by token, or by the cookie of a sign-in in the browser; and the work they do."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Annotated

from fastapi import Depends, Request, Security
from fastapi.security import APIKeyHeader, HTTPBearer
from sqlalchemy import Engine

from server.api.scopes import require_scope, scope_of
from server.catalog import people, tokens
from server.catalog.errors import NotSignedIn
from server.catalog.people import SessionLimits
from server.catalog.work import VISITOR, Actor, Role, Work, unit_of_work
from server.delivery.cookies import Cookies
from server.delivery.forgery import HEADER, check_secret, check_source
from server.settings import Settings
from server.tape.formats import Formats

_SAFE_METHODS = {"GET", "HEAD", "OPTIONS"}

# These two only describe; the headers are read below, where a wrong one can be told apart.
_TOKEN = HTTPBearer(
    scheme_name="token",
    auto_error=False,
    description="A token from POST /api/v1/tokens or the command `token`.",
)
_FORGERY = APIKeyHeader(
    name=HEADER,
    scheme_name="session",
    auto_error=False,
    description="The secret of the browser's sign-in, sent beside its cookie with each change.",
)


class Caller:
    """A request's origin: `actor` is who it acts for, `formats` how images are decoded."""

    def __init__(self, engine: Engine, settings: Settings, formats: Formats, actor: Actor) -> None:
        self.engine = engine
        self.settings = settings
        self.formats = formats
        self.actor = actor

    @contextmanager
    def work(self) -> Iterator[Work]:
        """One transaction that changes something, committed before the answer is sent."""
        with unit_of_work(self.engine, self.actor) as work:
            yield work

    @contextmanager
    def reading(self) -> Iterator[Work]:
        """One transaction that only reads, and so waits for nobody."""
        with unit_of_work(self.engine, self.actor, writes=False) as work:
            yield work

    def require(self, role: Role) -> None:
        """Refuse at once who may not do what `role` may, before a body is read."""
        self.actor.require(role)


def _caller(request: Request) -> Caller:
    engine: Engine = request.app.state.engine
    settings: Settings = request.app.state.settings
    if "Authorization" in request.headers:
        actor = _by_token(engine, request)
    else:
        actor = _by_cookie(engine, settings, request)
    return Caller(engine, settings, request.app.state.formats, actor)


def _by_token(engine: Engine, request: Request) -> Actor:
    scheme, _, token = request.headers["Authorization"].partition(" ")
    bearer = None
    if scheme.lower() == "bearer" and token:
        with unit_of_work(engine, writes=False) as work:
            bearer = tokens.bearer(work, token.strip())
    if bearer is None:
        raise NotSignedIn(
            "The token is not one that stands for anybody.",
            where="Authorization",
            mend="Send Authorization: Bearer TOKEN, with a token that was not revoked.",
        )
    require_scope(bearer.scopes, scope_of(request.method, request.scope["route"].path))
    return bearer.actor


def _by_cookie(engine: Engine, settings: Settings, request: Request) -> Actor:
    """Whoever is signed in with the browser; a change must carry the secret of the sign-in."""
    token = request.cookies.get(Cookies(settings.secure_cookies).session, "")
    if not token:
        return VISITOR
    limits = SessionLimits(
        idle=timedelta(hours=settings.sign_in_idle_hours),
        absolute=timedelta(hours=settings.sign_in_hours),
    )
    with unit_of_work(engine, writes=False) as work:
        session = people.resume(work, token, limits)
    if session is None:
        return VISITOR
    if request.method not in _SAFE_METHODS:
        check_source(request)
        check_secret(request.headers.get(HEADER, ""), session.csrf)
    return session.actor


CallerDep = Annotated[Caller, Depends(_caller)]
"""Who calls, where anybody may."""

SIGNED_IN = [Security(_TOKEN), Security(_FORGERY)]
"""Marks a route, in its description, as one for people who are signed in."""
