"""Slowing a guesser: after a few wrong passwords in a row, a name must wait, in every worker.

The counts are in the database, by the hash of the name. At most a hundred failures in a row
are let through (NIST SP 800-63B-4, from memory); the waits are common practice, no source.
"""

import hashlib
from datetime import timedelta

from sqlalchemy import delete, update
from sqlalchemy.exc import IntegrityError
from sqlmodel import col

from server.catalog.errors import TooManyAttempts
from server.catalog.work import Work
from server.store.people import SignInFailure

FREE_FAILURES = 5
LONGEST_WAIT = timedelta(minutes=15)
MOST_FAILURES = 100
FORGOTTEN_AFTER = timedelta(days=1)


def require_patience(work: Work, name: str) -> None:
    """Nothing, if `name` may be tried now.

    Raises:
        TooManyAttempts: with the seconds to wait.
    """
    count = work.session.get(SignInFailure, _key(name), populate_existing=True)
    if count is None:
        return
    left = count.last_at + _wait(count.failures) - work.now
    if left > timedelta(0):
        seconds = int(left.total_seconds()) + 1
        raise TooManyAttempts(
            "Too many wrong passwords were given for this name.",
            retry_after=seconds,
            where="sign-in",
            mend=f"Try again in {seconds} seconds, or ask an administrator.",
        )


def count_failure(work: Work, name: str) -> None:
    """Remember that a wrong password was given for `name`."""
    if _add_one(work, name):
        return
    try:
        with work.session.begin_nested():
            work.session.add(SignInFailure(name_hash=_key(name), failures=1, last_at=work.now))
    except IntegrityError:
        # Somebody else failed for the same name at the same moment.
        _add_one(work, name)


def forget_failures(work: Work, name: str) -> None:
    """Start again for `name`, and drop what is too old to matter for any name."""
    stale = col(SignInFailure.last_at) < work.now - FORGOTTEN_AFTER
    mine = col(SignInFailure.name_hash) == _key(name)
    work.session.execute(delete(SignInFailure).where(stale | mine))


def _add_one(work: Work, name: str) -> bool:
    counted = work.session.execute(
        update(SignInFailure)
        .where(col(SignInFailure.name_hash) == _key(name))
        .values(failures=col(SignInFailure.failures) + 1, last_at=work.now)
        .returning(col(SignInFailure.failures))
    )
    return counted.first() is not None


def _wait(failures: int) -> timedelta:
    if failures >= MOST_FAILURES:
        return FORGOTTEN_AFTER
    if failures < FREE_FAILURES:
        return timedelta(0)
    return min(timedelta(seconds=2 ** (failures - FREE_FAILURES + 1)), LONGEST_WAIT)


def _key(name: str) -> str:
    return hashlib.sha256(name.encode("utf-8", "replace")).hexdigest()
