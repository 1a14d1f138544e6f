"""One visit of a page: who asks, the transaction it runs in, and the answer it gets."""

import secrets
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from http import HTTPStatus
from typing import Annotated, Any
from urllib.parse import urlencode, urlsplit

from fastapi import Depends
from sqlalchemy import Engine
from sqlalchemy.exc import OperationalError
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from server.catalog import fixity, people, terms
from server.catalog.errors import Conflict, Invalid
from server.catalog.fixity import FixityFailure
from server.catalog.passkeys import Site
from server.catalog.people import Session, SessionLimits
from server.catalog.terms import Vocabulary
from server.catalog.work import VISITOR, Actor, Role, Work, unit_of_work
from server.delivery import forgery
from server.delivery.cookies import THEME, THEMES, Cookies
from server.settings import Settings
from server.statuses import problem_of
from server.tape.formats import Formats
from server.web.context import Filled, PageContext
from server.web.forms import Form
from server.web.render import render, wants_fragment

RESULTS = "results"
"""The block of a list that htmx swaps in as its form is filled in."""

Act = Callable[[Work], Response]
Again = Callable[[Work, Filled], PageContext]


class Elsewhere(Exception):
    """The page is asked for under an address with empty fields in it; `path` is the shared one."""

    def __init__(self, path: str) -> None:
        super().__init__(path)
        self.path = path


class Visit:
    """A request, once: `actor` and the secret of the forms are known inside `work`.

    So is `failing`, for people who are signed in: images whose frames are not those of their names.
    """

    def __init__(self, request: Request) -> None:
        self.request = request
        self.settings: Settings = request.app.state.settings
        self.formats: Formats = request.app.state.formats
        self.cookies = Cookies(self.settings.secure_cookies)
        self.actor: Actor = VISITOR
        self.failing: tuple[FixityFailure, ...] = ()
        self._engine: Engine = request.app.state.engine
        self._secret = request.cookies.get(self.cookies.visitor, "")
        self._new_secret = False
        self._work: Work | None = None

    @property
    def token(self) -> str:
        """The token of the sign-in that the browser holds, or nothing."""
        return self.request.cookies.get(self.cookies.session, "")

    @property
    def secret(self) -> str:
        """The secret of this browser's session, signed in or not; known inside `work`."""
        return self._secret

    @property
    def site(self) -> Site:
        """Where people sign in with passkeys."""
        parts = urlsplit(self.public)
        return Site(f"{parts.scheme}://{parts.netloc}")

    @property
    def browser(self) -> str:
        """What the browser calls itself."""
        return self.request.headers.get("User-Agent", "")

    @property
    def limits(self) -> SessionLimits:
        """How long a sign-in lasts."""
        return SessionLimits(
            idle=timedelta(hours=self.settings.sign_in_idle_hours),
            absolute=timedelta(hours=self.settings.sign_in_hours),
        )

    @contextmanager
    def work(self, *, writes: bool = False) -> Iterator[Work]:
        """The transaction of this visit, on behalf of whoever is signed in.

        Unless it `writes`, it takes no lock, so that pages never wait for an upload.
        """
        self._recognise()
        with unit_of_work(self._engine, self.actor, writes=writes) as work:
            self._work = work
            if self.signed_in:
                self.failing = fixity.failures(work)
            yield work

    def _recognise(self) -> None:
        session = self._resumed() if self.token else None
        if session is not None:
            self.actor, self._secret = session.actor, session.csrf

    def _resumed(self) -> Session | None:
        try:
            with unit_of_work(self._engine, writes=False) as work:
                return people.resume(work, self.token, self.limits)
        except OperationalError:
            # Its last use could not be noted beside another change; wait for a turn instead.
            with unit_of_work(self._engine) as work:
                return people.resume(work, self.token, self.limits)

    @contextmanager
    def change(self, form: Form) -> Iterator[Work]:
        """As `work`, for a form that changes something.

        Raises:
            Refused: the form does not carry the secret of this session.
        """
        with self.work(writes=True) as work:
            given = form.text(forgery.FIELD) or self.request.headers.get(forgery.HEADER, "")
            forgery.check_secret(given, self._secret)
            yield work

    def submit(
        self,
        form: Form,
        act: Act,
        again: Again,
        block: str | None = None,
        first: Callable[[], None] = lambda: None,
    ) -> Response:
        """What `act` answers; where it refuses the input, the page `again`, the input kept.

        What is slow and needs no transaction is done `first`, and may refuse the input too.
        """
        try:
            first()
            with self.change(form) as work:
                return act(work)
        except (Invalid, Conflict) as refusal:
            filled = Filled(form.kept(), refusal.fields, refusal)
            with self.work() as work:
                page = again(work, filled)
                return self.page(page, block=block, status=problem_of(refusal).status)

    def page(
        self, page: PageContext, *, block: str | None = None, status: int = HTTPStatus.OK
    ) -> Response:
        """The answer that shows `page`, or its `block` where htmx asks for that alone."""
        response = render(self.request, page, chrome={"visit": self}, block=block, status=status)
        private = self.signed_in or self._new_secret
        response.headers["Cache-Control"] = "no-store" if private else "private, no-cache"
        if block == RESULTS and wants_fragment(self.request) and self.address != self.shared:
            response.headers["HX-Push-Url"] = self.shared
        if self._new_secret:
            self.cookies.keep(response, self.cookies.visitor, self._secret)
        return response

    def redirect(self, path: str) -> Response:
        """The answer that sends the browser on to a page of ours, by GET."""
        return RedirectResponse(own_path(path), HTTPStatus.SEE_OTHER)

    # What the frame around every page names.

    @property
    def signed_in(self) -> bool:
        """Whether a person is signed in."""
        return self.actor.person_id is not None

    def may(self, role: str) -> bool:
        """Whether the person may do what `role` may."""
        return self.actor.role.includes(Role(role))

    def words(self, vocabulary: str) -> tuple[str, ...]:
        """The words of a vocabulary, for a form that is shown inside `work`."""
        assert self._work is not None
        return terms.words(self._work, Vocabulary(vocabulary))

    @property
    def csrf(self) -> str:
        """The secret for a form, masked; a visitor without one is given one."""
        if not self._secret:
            self._secret, self._new_secret = secrets.token_urlsafe(32), True
        return forgery.masked(self._secret)

    @property
    def theme(self) -> str:
        """'light' or 'dark' where the visitor chose one, else nothing."""
        chosen = self.request.cookies.get(THEME, "")
        return chosen if chosen in THEMES else ""

    @property
    def path(self) -> str:
        """The path of this page."""
        return self.request.url.path

    @property
    def address(self) -> str:
        """The path and query of this page."""
        query = self.request.url.query
        return f"{self.path}?{query}" if query else self.path

    @property
    def shared(self) -> str:
        """The same without the fields that were left empty: what people send each other."""
        return f"{self.path}{self.query_with()}" if _left_empty(self.request) else self.address

    @property
    def base(self) -> str:
        """The scheme and host that this site was asked under."""
        return str(self.request.base_url).rstrip("/")

    @property
    def public(self) -> str:
        """Where people reach this site: as it is set, else as it was asked; for what is printed."""
        return self.settings.public_address or self.base

    def query_with(self, **changes: Any) -> str:
        """The query of this page with some values changed, or taken out where None."""
        params = self.request.query_params
        kept = [(name, value) for name, value in params.multi_items() if name not in changes]
        kept += [(name, str(value)) for name, value in changes.items() if value is not None]
        return encoded(kept)

    def query_without(self, name: str, value: str) -> str:
        """The query of this page without one value of a field, from its first page on."""
        params = self.request.query_params.multi_items()
        return encoded([each for each in params if each != (name, value) and each[0] != "page"])


def encoded(pairs: list[tuple[str, str]]) -> str:
    """The pairs as a query, with its question mark; a pair without a value is left out."""
    query = urlencode([(name, value) for name, value in pairs if value])
    return f"?{query}" if query else ""


def _left_empty(request: Request) -> bool:
    """Whether the address has a field without a value, as a form sends those left empty."""
    return not all(value for _, value in request.query_params.multi_items())


def own_path(path: str) -> str:
    """`path` if it is one of this site's own, else the first page: no open redirects."""
    parts = urlsplit(path)
    ours = path.startswith("/") and not path.startswith("//") and "\\" not in path
    clean = all(each.isprintable() for each in path)
    return path if ours and clean and not parts.scheme and not parts.netloc else "/"


async def _visit(request: Request) -> Visit:
    # Async, so that no thread is taken only to make the value.
    visit = Visit(request)
    if request.method in ("GET", "HEAD") and _left_empty(request) and not wants_fragment(request):
        raise Elsewhere(visit.shared)
    return visit


VisitDep = Annotated[Visit, Depends(_visit)]
