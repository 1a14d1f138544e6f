"""The archive as commands reach it: its settings, its database, and clear words when refused."""

from argparse import Namespace
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import wraps

from alembic.util.exc import CommandError
from pydantic import ValidationError
from sqlalchemy import Engine
from sqlalchemy.exc import DatabaseError, OperationalError

from server import checkout
from server.catalog.errors import ArchiveError, NotVerified
from server.catalog.input_sentences import sentence
from server.catalog.work import COMMAND, Work, unit_of_work
from server.commands.console import REFUSED, UNUSABLE, complain
from server.settings import Settings
from server.store.engine import make_engine
from server.store.migration import current, head

Command = Callable[[Namespace], int]


class NotMigrated(Exception):
    """The database is not in the form that this release expects."""


def plainly(command: Command) -> Command:
    """`command`, but what it cannot do is said in plain words on the error stream."""

    @wraps(command)
    def run(args: Namespace) -> int:
        if lacks := checkout.missing():
            complain(
                f"This is no whole checkout: {', '.join(lacks)} should stand beside server.",
                f"Looked in {checkout.ROOT}.",
                "Feedhole runs from a checkout of its repository, as its README says.",
            )
            return UNUSABLE
        try:
            return command(args)
        except ArchiveError as error:
            return refuse(error)
        except NotMigrated:
            complain("The database is not of this release.", "Run: python -m server migrate")
        except ValidationError as error:
            complain("A setting makes no sense.", *_settings(error))
        except (OperationalError, DatabaseError) as error:
            complain("The database cannot be used.", str(error.orig), "See FEEDHOLE_DATABASE_URL.")
        except CommandError as error:
            complain(f"The database cannot be migrated: {error}.", "Give a revision, or base.")
        except OSError as error:
            complain(f"{error.filename or 'A file'}: {error.strerror or error}")
        return UNUSABLE

    return run


def refuse(error: ArchiveError, *, about: str = "", mend: str = "") -> int:
    """Say what the archive refused, and `about` what; returns what to exit with."""
    what = f"{about}: {error.what}" if about else error.what
    complain(what, f"Where: {error.where}" if error.where else "", mend or error.mend)
    return REFUSED


def refuse_unverified(error: NotVerified) -> int:
    """Say that nothing vouches for the image, and how to take it all the same."""
    return refuse(error, mend="Take it all the same with --unverified, and say so on the tape.")


def _settings(error: ValidationError) -> list[str]:
    return [
        f"FEEDHOLE_{'_'.join(map(str, each['loc'])).upper()}: {sentence(each)}"
        for each in error.errors()
    ]


@contextmanager
def engine() -> Iterator[Engine]:
    """A connection to the database that the settings name."""
    made = make_engine(Settings())
    try:
        yield made
    finally:
        made.dispose()


@contextmanager
def working(*, writes: bool = True) -> Iterator[Work]:
    """One transaction of whoever may start commands on this machine.

    Raises:
        NotMigrated: the database has not the form that this release expects.
    """
    with engine() as made:
        if current(made) != head():
            raise NotMigrated
        with unit_of_work(made, COMMAND, writes=writes) as work:
            yield work
