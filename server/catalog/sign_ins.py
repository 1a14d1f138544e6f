"""One's own sign-ins: where one is signed in, and ending any of it from anywhere."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import delete, select
from sqlmodel import col

from server.catalog import accounts, events, tokens
from server.catalog.errors import NotFound
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import by_id, known
from server.catalog.work import Role, Work
from server.store.people import SignIn


@dataclass(frozen=True, slots=True)
class SignInRecord:
    """A browser signed in: `browser` is what it calls itself, `here` whether it is the one asking.

    It ends at `expires`, or earlier where it is not used.
    """

    id: int
    browser: str
    began: datetime
    seen: datetime
    expires: datetime
    here: bool


def own(work: Work, token: str = "") -> tuple[SignInRecord, ...]:
    """Where the person is signed in, last used first; `token` is that of the browser asking."""
    work.actor.require(Role.VOLUNTEER)
    rows = work.session.scalars(
        select(SignIn)
        .where(
            col(SignIn.person_id) == accounts.own_id(work, "sign-ins"),
            col(SignIn.expires_at) > work.now,
            col(SignIn.idle_expires_at) > work.now,
        )
        .order_by(col(SignIn.seen_at).desc(), col(SignIn.id).desc())
    )
    here = tokens.kept(token)
    return tuple(
        SignInRecord(
            id=known(row.id),
            browser=row.browser or "",
            began=row.created_at,
            seen=row.seen_at,
            expires=min(row.expires_at, row.idle_expires_at),
            here=row.token_hash == here,
        )
        for row in rows
    )


def end(work: Work, sign_in_id: int) -> None:
    """End one of the person's own sign-ins, at once.

    Raises:
        NotFound: the person has no such sign-in.
    """
    work.actor.require(Role.VOLUNTEER)
    person_id = accounts.own_id(work, "sign-ins")
    row = by_id(work, SignIn, sign_in_id)
    if row is None or row.person_id != person_id:
        raise NotFound(
            f"You have no sign-in {sign_in_id}.",
            where="sign-ins",
            mend="Look in your list of sign-ins; it may have ended by itself.",
        )
    work.session.delete(row)
    _log(work, person_id, f"sign-in of {row.created_at:%Y-%m-%d %H:%M} ended")


def end_others(work: Work, token: str) -> int:
    """End all of the person's sign-ins but the one of `token`; how many there were."""
    work.actor.require(Role.VOLUNTEER)
    person_id = accounts.own_id(work, "sign-ins")
    gone = work.session.execute(
        delete(SignIn)
        .where(col(SignIn.person_id) == person_id, col(SignIn.token_hash) != tokens.kept(token))
        .returning(col(SignIn.id))
    ).all()
    if gone:
        _log(work, person_id, f"all other sign-ins ended: {len(gone)}")
    return len(gone)


def _log(work: Work, person_id: int, detail: str) -> None:
    events.record(work, EventType.ACCOUNT, ObjectKind.PERSON, person_id, detail=detail)
