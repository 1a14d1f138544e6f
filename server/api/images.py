"""Images: taking them in, what they say, their frames, and what they resemble."""

from collections.abc import Callable, Iterable, Sequence
from enum import StrEnum
from http import HTTPStatus
from typing import Annotated, Any, Final

from fastapi import APIRouter, Path, Query, Request, Response
from pydantic import BaseModel
from starlette.responses import PlainTextResponse

from server.api.accept import preferred
from server.api.addresses import address, created
from server.api.caller import SIGNED_IN, CallerDep
from server.api.models import (
    ImageOut,
    KinOut,
    ListingLineOut,
    ReceiptOut,
    VerificationOut,
)
from server.api.problems import CHANGE, responses
from server.api.uploads import FORM_DESCRIPTION, UploadDep
from server.catalog import accession, downloads, images, machine_code, verification
from server.catalog.verification import ProofReading
from server.delivery.frames import ASK_AGAIN, FOREVER, MEDIA_TYPE, Frames, deliver
from server.inspection import code_lines
from server.tape.listing import Line, Listing

router = APIRouter(tags=["images"])

Sha256 = Annotated[
    str, Path(description="Name of the image: SHA-256 of its frames, 64 hexadecimal digits.")
]


class Listed(StrEnum):
    """What a listing lists."""

    TEXT = "text"
    CODE = "code"


AsListed = Annotated[
    Listed, Query(alias="as", description="`text` as decoded, or `code`: what the image loads.")
]
ProcessorAsked = Annotated[
    str, Query(description="The processor to read code for; by evidence where empty.")
]
NotationAsked = Annotated[
    str, Query(description="`hex`, `octal` or `split-octal`; as the machine's where empty.")
]

_BINARY: Final = {MEDIA_TYPE: {"schema": {"type": "string", "format": "binary"}}}
FRAMES_ANSWERS: Final[dict[int | str, dict[str, Any]]] = {
    200: {"description": "All frames, one byte each.", "content": _BINARY},
    206: {"description": "The frames of the one range asked for.", "content": _BINARY},
    304: {"description": "The caller has these very frames."},
}

TEXT = "text/plain"
JSON_LINES = ("application/x-ndjson", "application/jsonl")


@router.post(
    "/images",
    status_code=HTTPStatus.CREATED,
    dependencies=SIGNED_IN,
    openapi_extra=FORM_DESCRIPTION,
    responses={
        200: {"model": ReceiptOut, "description": "This very image was held already."},
        **created("The image was entered."),
        **responses(*CHANGE, "digest-mismatch"),
    },
)
def upload_image(
    request: Request, response: Response, caller: CallerDep, upload: UploadDep
) -> ReceiptOut:
    """Take in the image of one tape: decode it, compare it with all others, and keep it.

    The headers Content-Digest and Repr-Digest (RFC 9530) are checked against the body of the
    request, the field `sha256` against the file in it. Nothing is stored where they differ.
    """
    examined = accession.examine(upload, caller.settings.upload_limit_bytes, caller.formats)
    with caller.reading() as work:
        examined = accession.meet(work, examined)
    with caller.work() as work:
        receipt = accession.accept(work, examined)
    sha256 = receipt.image.sha256
    response.headers["Location"] = address(request, "get_image", sha256=sha256)
    if receipt.held:
        response.status_code = HTTPStatus.OK
    return ReceiptOut.of(receipt)


@router.get("/images/{sha256}", responses=responses("not-found"))
def get_image(sha256: Sha256, caller: CallerDep) -> ImageOut:
    """What the image says, and what the archive knows of it.

    All frame numbers are those of the image as it was read, counted from 0. The first and the
    last address of a load range are both loaded.
    """
    with caller.reading() as work:
        return ImageOut.model_validate(images.get(work, sha256))


@router.get(
    "/images/{sha256}/listing",
    response_class=PlainTextResponse,
    responses={
        200: {
            "description": "The listing, as the Accept header asks: text by default.",
            "content": {
                TEXT: {"schema": {"type": "string"}},
                **{
                    name: {
                        "schema": {
                            "anyOf": [
                                {"$ref": "#/components/schemas/ListingLineOut"},
                                {"$ref": "#/components/schemas/CodeLineFacts"},
                            ]
                        }
                    }
                    for name in JSON_LINES
                },
            },
        },
        **responses("not-found", "not-acceptable", "invalid"),
    },
)
def get_listing(
    sha256: Sha256,
    caller: CallerDep,
    request: Request,
    as_: AsListed = Listed.TEXT,
    processor: ProcessorAsked = "",
    notation: NotationAsked = "",
) -> Response:
    """The decoded text, line by line: as plain text, or as one JSON object a line.

    With `as=code` the machine code that the image loads: each statement with its address, what
    the cells hold, and in JSON where it is referred to from.
    """
    form = preferred(request.headers.get("Accept", "*/*"), (TEXT, *JSON_LINES))
    with caller.reading() as work:
        if as_ is Listed.CODE:
            code = machine_code.of(work, sha256, processor, notation, caller.formats)
            return _listed(form, code.listing, lambda: code_lines(code))
        listing = images.listing(work, sha256)
    return _listed(form, listing, lambda: _lines_out(listing))


def _listed(form: str, listing: Listing, lines: Callable[[], Sequence[BaseModel]]) -> Response:
    # A later release of the decoder may read more.
    headers = {"Vary": "Accept", "Cache-Control": "private, no-cache"}
    if form == TEXT:
        return PlainTextResponse(listing.text, headers=headers)
    body = "".join(f"{each.model_dump_json()}\n" for each in lines())
    return Response(body, headers=headers, media_type=form)


def _lines_out(lines: Iterable[Line]) -> list[ListingLineOut]:
    return [ListingLineOut.of(number, line) for number, line in enumerate(lines, 1)]


@router.get(
    "/images/{sha256}/frames",
    response_class=Response,
    responses=FRAMES_ANSWERS
    | responses("malformed", "not-found", "fixity-failed", "no-such-range"),
)
def get_frames(sha256: Sha256, caller: CallerDep, request: Request) -> Response:
    """The frames themselves, exactly as they were read.

    They are served whether verified or not, for this is the archive's record: the header
    Feedhole-Verification says at the time of the answer whether anything vouches for them.
    Repr-Digest gives the SHA-256 of the whole, Content-Digest that of the part sent. A request
    for several ranges at once is answered with the whole.
    """
    with caller.reading() as work:
        download = downloads.download(work, sha256, acknowledged=True)
    cache = FOREVER if download.is_public else ASK_AGAIN
    return deliver(Frames.of(download), request.headers, cache=cache)


@router.get("/images/{sha256}/kin", responses=responses("not-found"))
def get_kin(sha256: Sha256, caller: CallerDep) -> list[KinOut]:
    """Images that resemble this one, the nearest first."""
    with caller.reading() as work:
        return [KinOut.model_validate(each) for each in images.kin(work, sha256)]


@router.post(
    "/images/{sha256}/proof-readings",
    status_code=HTTPStatus.CREATED,
    dependencies=SIGNED_IN,
    responses=responses(*CHANGE, "not-found", "conflict"),
)
def proof_read(sha256: Sha256, caller: CallerDep, given: ProofReading) -> VerificationOut:
    """Vouch for an image (archivists): it then counts as proof-read."""
    with caller.work() as work:
        return VerificationOut.model_validate(verification.proof_read(work, sha256, given.note))
