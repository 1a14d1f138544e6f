"""Changes to records: each names the revision that it is made against, by ETag and If-Match."""

from typing import Annotated, Any, Final, TypeVar

from fastapi import Depends, Request, Response
from pydantic import Field

from server.api.addresses import location
from server.api.problems import CHANGE, responses
from server.delivery.conditions import revision, tag
from server.inspection import Fields


class Revised(Fields):
    """A record that changes, one revision after the other."""

    revision: int = Field(description="Revision of the record, from 1; the ETag is the same.")


RecordT = TypeVar("RecordT", bound=Revised)


def _revision(request: Request) -> int | None:
    return revision(request.headers)


RevisionDep = Annotated[int | None, Depends(_revision)]
"""The revision that If-Match gives; None for whichever is current."""

IF_MATCH: Final[dict[str, Any]] = {
    "parameters": [
        {
            "name": "If-Match",
            "in": "header",
            "required": True,
            "schema": {"type": "string"},
            "description": "The ETag of the record as it was got, or * for whichever is current.",
        }
    ]
}

_ETAG: Final = {
    "headers": {
        "ETag": {"schema": {"type": "string"}, "description": "Revision of the record, quoted."}
    }
}
_CREATED: Final = {
    "headers": {
        **_ETAG["headers"],
        **location("Address of the new record."),
    }
}

READING: Final = {200: {"description": "The record.", **_ETAG}, **responses("not-found")}
CREATING: Final = {
    201: {"description": "The record was made.", **_CREATED},
    **responses(*CHANGE, "not-found", "conflict"),
}
CHANGING: Final = {
    200: {"description": "The record as changed.", **_ETAG},
    **responses(*CHANGE, "not-found", "conflict", "stale-revision", "revision-missing"),
}


def marked(response: Response, record: RecordT) -> RecordT:
    """The record, for which `response` is given the ETag."""
    response.headers["ETag"] = tag(str(record.revision))
    return record
