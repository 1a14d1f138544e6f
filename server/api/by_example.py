"""What holds this? Bytes, lines, or a whole image, of which nothing is kept."""

from collections.abc import AsyncIterator
from typing import Annotated, Self

from fastapi import APIRouter, Depends, Query, Request
from pydantic import Field

from server.api.caller import CallerDep
from server.api.models import KinOut
from server.api.problems import responses
from server.api.uploads import form_in, form_of, upload_in
from server.catalog import by_example, byte_search
from server.catalog.by_example import Answer, Example
from server.catalog.byte_values import ByteHit, BytePage, BytePlace, ByteQuery
from server.catalog.uploads import Upload
from server.inspection import Fields
from server.tape.cpu.notation import Notation

router = APIRouter(tags=["search"])


class BytePlaceOut(Fields):
    """One place where the bytes stand."""

    at: int = Field(description="Frame, or address of the cell, of the first of them.")
    before: str = Field(description="The bytes before them, in hexadecimal.")
    found: str = Field(
        description="The bytes themselves, in hexadecimal; of memory, all bytes of their cells."
    )
    after: str = Field(description="The bytes after them, in hexadecimal.")
    line: int | None = Field(description="Line of the listing, counted from 1, or null.")

    @classmethod
    def of(cls, place: BytePlace) -> Self:
        """The shape of a place."""
        return cls(
            at=place.at,
            before=place.before.hex(" ").upper(),
            found=place.found.hex(" ").upper(),
            after=place.after.hex(" ").upper(),
            line=place.line,
        )


class ByteHitOut(Fields):
    """An image that holds the bytes."""

    sha256: str = Field(description="Name of the image.")
    title: str = Field(description="Best name there is for it.")
    tape: str | None = Field(description="Accession number of its first tape, or null.")
    format: str = Field(description="Format of the image.")
    notation: Notation = Field(description="How the people of its machine wrote numbers.")
    cell_bytes: int = Field(
        description="Bytes of the cells that places count, 1 or 2; of two the high one first."
    )
    count: int = Field(description="How many places in it, at most 1,000.")
    places: list[BytePlaceOut] = Field(description="The first few of them.")

    @classmethod
    def of(cls, hit: ByteHit) -> Self:
        """The shape of a hit."""
        return cls(
            sha256=hit.sha256,
            title=hit.title,
            tape=hit.accession,
            format=hit.format,
            notation=hit.writing.notation,
            cell_bytes=hit.writing.cell_bytes,
            count=hit.count,
            places=[BytePlaceOut.of(place) for place in hit.places],
        )


class ByteHitsOut(Fields):
    """Part of what holds the bytes, the newest first."""

    hits: list[ByteHitOut] = Field(description="The images.")
    read: int = Field(description="How many images, or runs of memory, were looked through.")
    next_cursor: int | None = Field(
        description="What to send as cursor to look further; null at the end."
    )

    @classmethod
    def of(cls, page: BytePage) -> Self:
        """The shape of a part."""
        hits = [ByteHitOut.of(hit) for hit in page.hits]
        return cls(hits=hits, read=page.read, next_cursor=page.next_cursor)


class HolderOut(Fields):
    """A listing that holds lines of the example."""

    sha256: str = Field(description="Name of the image.")
    title: str = Field(description="Best name there is for it.")
    tape: str | None = Field(description="Accession number of its first tape, or null.")
    lines: int = Field(description="How many of the lines it holds.")
    of: int = Field(description="How many lines were looked for: the longest of the example.")
    line: int = Field(description="The first line of its own that is one of them, from 1.")


class AnswerOut(Fields):
    """What holds the example, or is like it."""

    held: str | None = Field(description="Name of the very same image, where it is held.")
    holders: list[HolderOut] = Field(description="Listings that hold its lines, best first.")
    frames: ByteHitsOut = Field(description="Images that hold its bytes as frames.")
    memory: ByteHitsOut = Field(description="Images that load its bytes into memory.")
    kin: list[KinOut] = Field(description="Images that it resembles, the nearest first.")

    @classmethod
    def of(cls, answer: Answer) -> Self:
        """The shape of an answer."""
        return cls(
            held=answer.held,
            holders=[
                HolderOut(
                    sha256=each.sha256,
                    title=each.title,
                    tape=each.accession,
                    lines=each.lines,
                    of=each.of,
                    line=each.line,
                )
                for each in answer.holders
            ],
            frames=ByteHitsOut.of(answer.frames),
            memory=ByteHitsOut.of(answer.memory),
            kin=[KinOut.model_validate(each) for each in answer.kin],
        )


@router.get("/search/bytes", responses=responses("invalid"))
def find_bytes(caller: CallerDep, query: Annotated[ByteQuery, Query()]) -> ByteHitsOut:
    """Find bytes, with gaps, in the frames of images or in the memory that they load.

    Two hexadecimal digits a byte, or three octal ones; `?` stands for any digit, and text in
    quotes for its ISO 646 characters, whatever their parity.
    """
    with caller.reading() as work:
        return ByteHitsOut.of(byte_search.find(work, query))


@router.post("/search/by-example", responses=responses("malformed", "invalid"))
def find_by_example(caller: CallerDep, example: Example) -> AnswerOut:
    """Find what holds some lines of a listing, with other line numbers too, or some bytes."""
    with caller.reading() as work:
        return AnswerOut.of(by_example.of_example(work, example))


async def _image(request: Request) -> AsyncIterator[Upload]:
    async with form_in(request) as form:
        yield await upload_in(form)


@router.post(
    "/search/by-image",
    openapi_extra=form_of("file", "levels"),
    responses=responses("malformed", "invalid", "too-large"),
)
def find_by_image(caller: CallerDep, image: Annotated[Upload, Depends(_image)]) -> AnswerOut:
    """Find what is this image, holds it, is part of it or resembles it; nothing is kept."""
    with caller.reading() as work:
        return AnswerOut.of(by_example.of_image(work, image))
