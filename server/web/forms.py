"""What a form sends: fields as text, files as open files, and never more than is allowed."""

from collections.abc import AsyncIterator, Iterable
from dataclasses import dataclass, field
from typing import Annotated, Any

from fastapi import Depends
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.types import Message

from server.catalog.by_example import LARGEST
from server.catalog.errors import TooLarge
from server.catalog.photos import AT_ONCE
from server.delivery.bodies import BodyTooLarge, limited
from server.delivery.forgery import check_source
from server.settings import Settings

FIELDS_LIMIT = 256 * 1024
"""Bytes of a form without files: several times the longest notes and defects together."""
FILES_AT_ONCE = 20
DRAIN = 4
"""How many times the limit is read and thrown away at most."""


@dataclass(frozen=True, slots=True)
class Form:
    """The fields and files that were sent."""

    fields: dict[str, tuple[str, ...]] = field(default_factory=dict)
    files: tuple[UploadFile, ...] = ()

    def text(self, name: str) -> str:
        """The first value of a field, or nothing."""
        return next(iter(self.fields.get(name, ())), "")

    def texts(self, name: str) -> tuple[str, ...]:
        """All values of a field."""
        return self.fields.get(name, ())

    def kept(self) -> dict[str, Any]:
        """All fields, to be shown again: one value as it is, several as a tuple."""
        return {name: sent[0] if len(sent) == 1 else sent for name, sent in self.fields.items()}

    def only(self, names: Iterable[str]) -> dict[str, Any]:
        """The fields of these names that were sent, one value each."""
        return {name: self.text(name) for name in names if name in self.fields}


class _Body:
    """The body of a request, of which one can tell whether it was read to its end."""

    def __init__(self, request: Request) -> None:
        self._receive = request.receive
        self._ended = False

    async def receive(self) -> Message:
        """The next part."""
        message = await self._receive()
        self._ended = not message.get("more_body", False)
        return message

    async def drain(self, limit: int) -> None:
        """Read on, up to `limit` bytes: a browser that still sends does not hear the answer."""
        read = 0
        while not self._ended and read < limit:
            read += len((await self.receive()).get("body", b""))


async def _form(request: Request, limit: int, files: int) -> AsyncIterator[Form]:
    check_source(request)
    body = _Body(request)
    metered = Request(request.scope, limited(body.receive, limit))
    try:
        async with metered.form(max_files=files, max_part_size=limit) as sent:
            yield _sorted(sent)
    except BodyTooLarge:
        await body.drain(limit * DRAIN)
        raise TooLarge(
            f"What was sent is over the limit of {limit:,} bytes for one form.",
            limit=limit,
            where="the form",
            mend="Send fewer or smaller files at a time. Nothing was stored.",
        ) from None


def _sorted(sent: FormData) -> Form:
    fields: dict[str, tuple[str, ...]] = {}
    files = []
    for name, value in sent.multi_items():
        if isinstance(value, str):
            fields[name] = (*fields.get(name, ()), value)
        elif value.filename:  # a file input that was left empty arrives without a name
            files.append(value)
    return Form(fields, tuple(files))


async def sent_form(request: Request) -> AsyncIterator[Form]:
    """A form without files."""
    async for form in _form(request, FIELDS_LIMIT, files=0):
        yield form


async def sent_files(request: Request) -> AsyncIterator[Form]:
    """A form with up to `FILES_AT_ONCE` files, each of up to the upload limit.

    Use it after a dependency that refuses who may not upload: the files are read before the
    route begins.
    """
    settings: Settings = request.app.state.settings
    limit = FIELDS_LIMIT + FILES_AT_ONCE * settings.upload_limit_bytes
    async for form in _form(request, limit, files=FILES_AT_ONCE):
        yield form


async def sent_example(request: Request) -> AsyncIterator[Form]:
    """A form with an image to look for in it, or none."""
    async for form in _form(request, FIELDS_LIMIT + LARGEST, files=1):
        yield form


async def sent_reading(request: Request) -> AsyncIterator[Form]:
    """A form with one file of up to the upload limit; use it as `sent_files`."""
    settings: Settings = request.app.state.settings
    async for form in _form(request, FIELDS_LIMIT + settings.upload_limit_bytes, files=1):
        yield form


async def sent_photos(request: Request) -> AsyncIterator[Form]:
    """A form with up to `AT_ONCE` photos, each of up to their limit; use it as `sent_files`."""
    settings: Settings = request.app.state.settings
    limit = FIELDS_LIMIT + AT_ONCE * settings.photo_limit_bytes
    async for form in _form(request, limit, files=AT_ONCE):
        yield form


FormDep = Annotated[Form, Depends(sent_form)]
FilesDep = Annotated[Form, Depends(sent_files)]
ReadingDep = Annotated[Form, Depends(sent_reading)]
PhotosDep = Annotated[Form, Depends(sent_photos)]
ExampleDep = Annotated[Form, Depends(sent_example)]
