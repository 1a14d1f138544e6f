"""Taking in an upload: who may is asked first, then the body is read, counted and hashed."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Annotated, Any, Final

from fastapi import Depends, Request
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException

from server import statuses
from server.api.caller import CallerDep
from server.catalog.accession import Upload
from server.catalog.errors import Invalid
from server.catalog.work import Role
from server.delivery.bodies import is_form, tapped
from server.delivery.digests import Checker
from server.statuses import Refused

_FIELDS: Final = frozenset({"tape", "levels", "read_on", "reader", "sha256"})

_DESCRIBED: Final[dict[str, dict[str, Any]]] = {
    "file": {
        "type": "string",
        "contentMediaType": "application/octet-stream",
        "description": "The image: one byte a frame, channel 1 in bit 0.",
    },
    "tape": {
        "type": "string",
        "description": "Accession number of the tape that was read.",
    },
    "levels": {
        "type": "integer",
        "minimum": 5,
        "maximum": 8,
        "description": "Code holes across the tape; found out if not given.",
    },
    "read_on": {
        "type": "string",
        "format": "date",
        "description": "Day of the reading.",
    },
    "reader": {
        "type": "string",
        "description": "The machine that read the tape.",
    },
    "sha256": {
        "type": "string",
        "description": "SHA-256 that the file must have, in hexadecimal.",
    },
}


def form_of(*names: str, **more: Any) -> dict[str, Any]:
    """A form with a file and those fields, for the description of a route."""
    schema = {
        "type": "object",
        "required": ["file"],
        "properties": {name: _DESCRIBED[name] for name in names},
    }
    content = {"multipart/form-data": {"schema": schema | more}}
    return {"requestBody": {"required": True, "content": content}}


FORM_DESCRIPTION: Final = form_of(*_DESCRIBED, additionalProperties=False)


async def _upload(request: Request, caller: CallerDep) -> AsyncIterator[Upload]:
    caller.require(Role.VOLUNTEER)
    if not is_form(request.scope):
        raise Refused(
            statuses.WRONG_MEDIA_TYPE,
            "An upload is a form with a file in it.",
            where="Content-Type",
            mend="Send multipart/form-data with a part named file.",
        )
    checker = Checker(request.headers)
    body = Request(request.scope, tapped(request.receive, checker.update))
    async with form_in(body) as form:
        checker.finish()
        yield await upload_in(form)


@asynccontextmanager
async def form_in(request: Request) -> AsyncIterator[FormData]:
    """The form that a request holds, while its file is open.

    Raises:
        Refused: it cannot be read.
    """
    try:
        form = await request.form(max_files=1, max_fields=len(_FIELDS), max_part_size=4096)
    except HTTPException as error:
        raise _as_refused(error) from None
    try:
        yield form
    finally:
        await form.close()


def _as_refused(error: HTTPException) -> Exception:
    """A form that cannot be read; any other refusal as it is."""
    if type(error) is not HTTPException:
        return error
    return Refused(
        statuses.MALFORMED,
        f"The form cannot be read: {error.detail}",
        where="body",
        mend="Send one file, in a part named file, and each other field once.",
    )


async def upload_in(form: FormData) -> Upload:
    """The upload that a form holds.

    Raises:
        Invalid: it has no file in it, or fields that no upload has.
    """
    file = form.get("file")
    if not isinstance(file, UploadFile):
        raise Invalid(
            "The form has no file in it.",
            where="file",
            mend="Send the image in a part named file, with a file name.",
            fields={"file": "this must be given"},
        )
    _refuse_unknown(form)
    values = {name: form[name] for name in form if name in _FIELDS and form[name] != ""}
    return Upload.of({**values, "file_name": file.filename or "", "data": await file.read()})


def _refuse_unknown(form: FormData) -> None:
    names = [name for name, _ in form.multi_items()]
    fields = {name: "there is no such field" for name in names if name not in {*_FIELDS, "file"}}
    fields |= {name: "give this once" for name in names if names.count(name) > 1}
    if fields:
        raise Invalid(
            "The form has fields that cannot be taken.",
            where=", ".join(fields),
            mend=f"The fields are: file, {', '.join(sorted(_FIELDS))}; each once.",
            fields=fields,
        )


UploadDep = Annotated[Upload, Depends(_upload)]
