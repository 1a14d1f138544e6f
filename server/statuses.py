"""Every way in which a request can fail: one table for the pages, the API and their help.

Status codes are those of RFC 9110, RFC 6585 (428, 429); a problem's code is the fragment of its
type URI (RFC 9457), so `/help/problems` must have an element of that id for each.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from http import HTTPStatus
from types import MappingProxyType
from typing import Final

from server.catalog.errors import (
    ArchiveError,
    Conflict,
    FixityFailed,
    Gone,
    Invalid,
    Moved,
    NotAllowed,
    NotFound,
    NotSignedIn,
    NotVerified,
    Quarantined,
    SignInRefused,
    TooLarge,
    TooManyAttempts,
)

HELP_PAGE: Final = "/help/problems"


@dataclass(frozen=True, slots=True)
class Problem:
    """A kind of failure: `meaning` says when it is met, `mend` what to do about it."""

    code: str
    status: int
    title: str
    meaning: str
    mend: str

    @property
    def type(self) -> str:
        """The URI that names the kind of problem, and leads to its help."""
        return f"{HELP_PAGE}#{self.code}"


_REFUSALS: Final[Mapping[type[ArchiveError], Problem]] = MappingProxyType(
    {
        NotFound: Problem(
            NotFound.code,
            HTTPStatus.NOT_FOUND,
            "Nothing is held under that name",
            "No image, tape, program or report has the name, number or digest that was given.",
            "Search for it; a digest has 64 hexadecimal digits, an accession number is on the box.",
        ),
        Gone: Problem(
            Gone.code,
            HTTPStatus.GONE,
            "The tape left the collection",
            "It was deaccessioned: its record and number stay, and nothing of it is changed.",
            "Look at its page; the images that were read from it are still held.",
        ),
        NotSignedIn: Problem(
            NotSignedIn.code,
            HTTPStatus.UNAUTHORIZED,
            "Sign in first",
            "Visitors read, search and download; anything that changes the archive needs a name.",
            "Sign in, or send a token that was issued here and not revoked.",
        ),
        SignInRefused: Problem(
            SignInRefused.code,
            HTTPStatus.UNAUTHORIZED,
            "Name and password do not belong together",
            "There is no such name, its password is another, or the account is disabled.",
            "Check both; an administrator can give a new password.",
        ),
        NotAllowed: Problem(
            NotAllowed.code,
            HTTPStatus.FORBIDDEN,
            "Your role does not reach that far",
            "You are signed in, but this is for a role above yours.",
            "Ask an administrator of the archive.",
        ),
        Invalid: Problem(
            Invalid.code,
            HTTPStatus.UNPROCESSABLE_ENTITY,
            "What was given cannot be taken",
            "A field is missing, unknown or holds a value that does not fit, or a file is empty.",
            "Mend the fields named and send it again; nothing was stored.",
        ),
        TooLarge: Problem(
            TooLarge.code,
            HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
            "The upload is over the limit",
            "An image is bytes as read, one for each frame: a 1000 ft roll is 120,000 of them.",
            "Upload one tape at a time, or ask for a higher limit; nothing was stored.",
        ),
        Conflict: Problem(
            Conflict.code,
            HTTPStatus.CONFLICT,
            "The record is not as you think",
            "Somebody changed the record since you opened it, or the number is taken.",
            "Open the record again, compare, and repeat your change.",
        ),
        Moved: Problem(
            Moved.code,
            HTTPStatus.CONFLICT,
            "The record is part of another one now",
            "The program was merged into another, or the version was put to another program.",
            "Use the address that the answer names; reading is led there by itself.",
        ),
        NotVerified: Problem(
            NotVerified.code,
            HTTPStatus.CONFLICT,
            "Nothing vouches for this image yet",
            "No checksum, second reading or person has confirmed these bytes.",
            "Confirm that you want it unverified, or ask for a second reading.",
        ),
        FixityFailed: Problem(
            FixityFailed.code,
            HTTPStatus.CONFLICT,
            "The held frames are not those of this image",
            "Hashed again, the frames do not give the SHA-256 that is the name of the image.",
            "Upload the same reading again, or ask an archivist to mend it from a backup.",
        ),
        Quarantined: Problem(
            Quarantined.code,
            HTTPStatus.CONFLICT,
            "The tape must not be handled",
            "A condition report gives a hazard, such as suspected mould: the tape is kept apart.",
            "Leave it closed and ask a conservator; local rules on hazards come first.",
        ),
        TooManyAttempts: Problem(
            TooManyAttempts.code,
            HTTPStatus.TOO_MANY_REQUESTS,
            "Too many attempts",
            "Sign-in is held back for a while after several wrong passwords.",
            "Wait as long as the answer says, then try again.",
        ),
    }
)

UNKNOWN_ROUTE: Final = Problem(
    "unknown-route",
    HTTPStatus.NOT_FOUND,
    "There is no such address",
    "The address itself is not one that this archive answers.",
    "Look it up in the description of the API, or start from the first page.",
)
METHOD_NOT_ALLOWED: Final = Problem(
    "method-not-allowed",
    HTTPStatus.METHOD_NOT_ALLOWED,
    "That cannot be done here",
    "The address exists, but does not take the method of the request.",
    "Use one of the methods that the Allow header names.",
)
NOT_ACCEPTABLE: Final = Problem(
    "not-acceptable",
    HTTPStatus.NOT_ACCEPTABLE,
    "Not in that form",
    "The Accept header asks for a media type that the resource is not kept in.",
    "Ask for one of the media types that the answer names.",
)
MALFORMED: Final = Problem(
    "malformed",
    HTTPStatus.BAD_REQUEST,
    "The request cannot be read",
    "The body is not the JSON or the form that it is announced as, or a header has no meaning.",
    "Compare the request with the description of the API.",
)
WRONG_MEDIA_TYPE: Final = Problem(
    "wrong-media-type",
    HTTPStatus.UNSUPPORTED_MEDIA_TYPE,
    "The body is of another kind",
    "The body was announced as a media type that is not taken at this address.",
    "Send JSON as application/json, and files as multipart/form-data.",
)
DIGEST_MISMATCH: Final = Problem(
    "digest-mismatch",
    HTTPStatus.BAD_REQUEST,
    "What arrived is not what was sent",
    "The bytes that arrived do not have the digest that was sent with them.",
    "Send it again; if it happens again, the file or the digest is not the right one.",
)
FORGED: Final = Problem(
    "not-from-here",
    HTTPStatus.FORBIDDEN,
    "The request does not come from our own pages",
    "A change made with a sign-in cookie must carry that sign-in's own secret.",
    "Reload the page and try again; programs send a token instead of the cookie.",
)
INSUFFICIENT_SCOPE: Final = Problem(
    "insufficient-scope",
    HTTPStatus.FORBIDDEN,
    "The token does not reach that far",
    "Each token was issued for some things only, and this is none of them.",
    "Issue a token with the scope that the answer names, or sign in.",
)
REVISION_MISSING: Final = Problem(
    "revision-missing",
    HTTPStatus.PRECONDITION_REQUIRED,
    "Say which revision you change",
    "A change must name the revision that it is made against, so that no work is lost.",
    "Get the record, and send its ETag as If-Match.",
)
STALE: Final = Problem(
    "stale-revision",
    HTTPStatus.PRECONDITION_FAILED,
    "The record changed since you opened it",
    "The revision in If-Match is not the current one.",
    "Get the record again, compare, and repeat your change with the new ETag.",
)
NO_SUCH_RANGE: Final = Problem(
    "no-such-range",
    HTTPStatus.REQUESTED_RANGE_NOT_SATISFIABLE,
    "The image has no such frames",
    "The range asked for begins after the last frame.",
    "Ask for a range within the size that Content-Range names.",
)
INTERNAL: Final = Problem(
    "internal",
    HTTPStatus.INTERNAL_SERVER_ERROR,
    "Something went wrong on our side",
    "The fault is ours; it was logged under the reference in the answer.",
    "Tell the archive the reference. A change that failed this way was wholly undone.",
)
UNAVAILABLE: Final = Problem(
    "unavailable",
    HTTPStatus.SERVICE_UNAVAILABLE,
    "The archive is busy",
    "The database could not be reached, or was held by another change for too long.",
    "Try again in a moment; nothing was stored.",
)

RETRY_SECONDS: Final = 2
"""After how long it is worth asking a busy archive again."""

PROBLEMS: Final[Mapping[str, Problem]] = MappingProxyType(
    {
        problem.code: problem
        for problem in (
            *_REFUSALS.values(),
            UNKNOWN_ROUTE,
            METHOD_NOT_ALLOWED,
            NOT_ACCEPTABLE,
            MALFORMED,
            WRONG_MEDIA_TYPE,
            DIGEST_MISMATCH,
            FORGED,
            INSUFFICIENT_SCOPE,
            REVISION_MISSING,
            STALE,
            NO_SUCH_RANGE,
            INTERNAL,
            UNAVAILABLE,
        )
    }
)
"""All of them by code, for the help page."""


class Refused(Exception):
    """A request refused for what it is as a request, before the catalog was asked.

    `what`, `where`, `mend` and `fields` as in `ArchiveError`; `headers` go with the answer.
    """

    def __init__(
        self,
        problem: Problem,
        what: str,
        *,
        where: str = "",
        mend: str = "",
        fields: Mapping[str, str] | None = None,
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(what)
        self.problem = problem
        self.what = what
        self.where = where
        self.mend = mend
        self.fields = dict(fields or {})
        self.headers = dict(headers or {})


def problem_of(error: ArchiveError) -> Problem:
    """The kind of problem that `error` is: that of the nearest class in the table."""
    if isinstance(error, Conflict) and error.revision is not None:
        return STALE
    for kind in type(error).__mro__:
        if kind in _REFUSALS:
            return _REFUSALS[kind]
    return INTERNAL
