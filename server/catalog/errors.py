"""What the catalog refuses.

    ArchiveError
        NotFound          nothing is held under that name
        Moved             it is held at another address now
        Gone              the tape left the collection; its record is still there
        NotSignedIn       the visitor must sign in first
        NotAllowed        the person's role does not reach that far
        Invalid           what was given cannot be taken; `fields` says which part
            TooLarge      an upload is over the limit
        Conflict          the record changed since it was opened, or the name is taken
        NotVerified       nothing vouches for the image, and that was not acknowledged
        FixityFailed      the held frames are not those of the image's name
        Quarantined       the tape must not be handled
        SignInRefused     name and password do not belong together
        TooManyAttempts   sign-in is held back for a while

Each says what is wrong, where, and how to mend it. A damaged tape is never an error.
"""

from collections.abc import Mapping
from typing import ClassVar


class ArchiveError(Exception):
    """The caller asked for what cannot be.

    `what`, `where` and `mend` are plain sentences or names; `fields` gives, by the name of an
    input field, what is wrong with it; `code` is the kebab-case name of the kind of error.
    """

    code: ClassVar[str] = "refused"

    def __init__(
        self,
        what: str,
        *,
        where: str = "",
        mend: str = "",
        fields: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(what)
        self.what = what
        self.where = where
        self.mend = mend
        self.fields = dict(fields or {})


class NotFound(ArchiveError):
    """Nothing is held under that name."""

    code = "not-found"


class Gone(ArchiveError):
    """The tape left the collection: nothing of it is changed any more."""

    code = "gone"


class Moved(ArchiveError):
    """What had this address is held at another one: `before` and `after` begin the two paths."""

    code = "moved"

    def __init__(
        self, what: str, *, before: str, after: str, where: str = "", mend: str = ""
    ) -> None:
        super().__init__(what, where=where, mend=mend)
        self.before = before
        self.after = after

    def path_of(self, path: str) -> str | None:
        """Where to find what had the address `path`; None where that cannot be told."""
        _, before, rest = path.partition(self.before)
        ends = self.before.endswith("/") or not rest or rest.startswith("/")
        if not before or not ends:
            return None
        return f"{path[: path.index(self.before)]}{self.after}{rest}"


class NotSignedIn(ArchiveError):
    """The visitor must sign in first."""

    code = "not-signed-in"


class NotAllowed(ArchiveError):
    """The person's role does not reach that far."""

    code = "not-allowed"


class Invalid(ArchiveError):
    """What was given cannot be taken."""

    code = "invalid"


class TooLarge(Invalid):
    """An upload of more than `limit` bytes."""

    code = "too-large"

    def __init__(self, what: str, *, limit: int, where: str = "", mend: str = "") -> None:
        super().__init__(what, where=where, mend=mend)
        self.limit = limit


def refused(field: str, what: str, mend: str) -> Invalid:
    """The refusal of what a field holds."""
    return Invalid(what, where=field, mend=mend, fields={field: what})


def as_sentence(clause: str) -> str:
    """What the core says of a refusal, with a capital and a full stop."""
    return f"{clause[:1].upper()}{clause[1:]}."


class Conflict(ArchiveError):
    """The record has changed since (`revision` is the current one), or a name is taken."""

    code = "conflict"

    def __init__(
        self,
        what: str,
        *,
        where: str = "",
        mend: str = "",
        fields: Mapping[str, str] | None = None,
        revision: int | None = None,
    ) -> None:
        super().__init__(what, where=where, mend=mend, fields=fields)
        self.revision = revision


class NotVerified(ArchiveError):
    """Nothing vouches for the image yet, and the caller has not acknowledged that."""

    code = "not-verified"


class FixityFailed(ArchiveError):
    """The held frames of the image are not those of its name."""

    code = "fixity-failed"


class Quarantined(ArchiveError):
    """The tape is held apart and must not be handled."""

    code = "quarantined"


class SignInRefused(ArchiveError):
    """Name and password do not belong together."""

    code = "sign-in-refused"


class TooManyAttempts(ArchiveError):
    """Sign-in is held back for `retry_after` seconds."""

    code = "too-many-attempts"

    def __init__(self, what: str, *, retry_after: int, where: str = "", mend: str = "") -> None:
        super().__init__(what, where=where, mend=mend)
        self.retry_after = retry_after
