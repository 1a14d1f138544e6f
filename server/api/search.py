"""Search: any run of characters, in listings and records."""

from typing import Annotated, Self

from fastapi import APIRouter, Query
from markupsafe import Markup, escape
from pydantic import Field

from server.api.caller import CallerDep
from server.api.problems import responses
from server.catalog import search
from server.catalog.excerpt import Pieces
from server.catalog.records import VerifiedBy
from server.catalog.search import Hit, SearchQuery
from server.catalog.vocabulary import Condition
from server.inspection import Fields
from server.tape.findings import CheckStatus

router = APIRouter(tags=["search"])


class ExcerptPiece(Fields):
    """A piece of an excerpt."""

    text: str = Field(description="The characters, as they stand.")
    match: bool = Field(description="Whether they are what was searched for.")


class HitOut(Fields):
    """One place where the search text stands."""

    kind: str = Field(description="`listing`, `tape` or `program`.")
    field: str = Field(description="The field it stands in.")
    sha256: str | None = Field(description="Name of the image, or null.")
    tape: str | None = Field(description="Accession number of the tape, or null.")
    program: int | None = Field(description="Number of the program, or null.")
    title: str = Field(description="Title of the tape or the program.")
    line: int | None = Field(description="Line of the listing, counted from 1, or null.")
    lines_found: int | None = Field(
        description="How many lines of the listing hold it; only the first few are hits."
    )
    before: str | None = Field(description="The line before it, or null.")
    after: str | None = Field(description="The line after it, or null.")
    check_status: CheckStatus | None = Field(description="What the image's checks say, or null.")
    verification: VerifiedBy | None = Field(description="Why the image is trusted, or null.")
    condition: Condition | None = Field(description="How the tape stands, or null.")
    departed: bool = Field(description="Whether the tape left the collection.")
    do_not_run: bool = Field(description="Whether no reader may have the tape.")
    excerpt: str = Field(
        description="The text around it as HTML: escaped, each match in a mark element."
    )
    pieces: list[ExcerptPiece] = Field(description="The same as plain text, piece by piece.")

    @classmethod
    def of(cls, hit: Hit) -> Self:
        """The shape of a hit."""
        return cls(
            kind=hit.kind,
            field=hit.field,
            sha256=hit.sha256,
            tape=hit.accession,
            program=hit.program,
            title=hit.title,
            line=hit.line,
            do_not_run=hit.do_not_run,
            lines_found=hit.lines_found,
            before=hit.before,
            after=hit.after,
            check_status=hit.check_status,
            verification=hit.verification,
            condition=hit.condition,
            departed=hit.departed,
            excerpt=marked_up(hit.excerpt),
            pieces=[ExcerptPiece(text=text, match=match) for text, match in hit.excerpt],
        )


class FacetValueOut(Fields):
    """A value that would narrow the search."""

    value: str = Field(description="What to send for it.")
    label: str = Field(description="What it is called.")
    count: int = Field(description="How many of the newest that were found have it.")
    chosen: bool = Field(description="Whether it was chosen.")


class TitledOut(Fields):
    """A tape or a program whose title or origin is like what was looked for."""

    title: str = Field(description="Its title.")
    accession: str | None = Field(description="Accession number of the tape, or null.")
    program: int | None = Field(description="Number of the program, or null.")


class SearchHelpOut(Fields):
    """How to go on where hardly anything was found."""

    spelling: str | None = Field(description="The text as it may have been meant, or null.")
    near: list[TitledOut] = Field(description="Titles and origins like it.")
    dropped: dict[str, int] = Field(
        description="By facet, how many would be found whatever its value."
    )


class HitsOut(Fields):
    """Part of what was found."""

    hits: list[HitOut] = Field(description="The places found.")
    total: int = Field(description="How many records and listings hold it.")
    total_is_exact: bool = Field(description="Whether there are no more than that.")
    newest_only: bool = Field(
        description="Whether the text was too short to look further than the newest listings."
    )
    next_cursor: str | None = Field(
        description="What to send as cursor for the next part; null at the end."
    )
    facets: dict[str, list[FacetValueOut]] = Field(
        description="What would narrow the search, where it was asked for."
    )
    help: SearchHelpOut | None = Field(description="How to go on, or null where much was found.")


@router.get("/search", responses=responses("invalid"))
def find(caller: CallerDep, query: Annotated[SearchQuery, Query()]) -> HitsOut:
    """Find any run of characters, whatever their case, in listings, tapes and programs.

    In accession numbers and titles spaces and signs do not matter either. The best come first:
    that very number or title, then titles, then listings in which it stands as a word; among
    equals the newest.
    """
    with caller.reading() as work:
        page = search.find(work, query)
    return HitsOut(
        hits=[HitOut.of(hit) for hit in page.hits],
        total=page.total,
        total_is_exact=page.total_is_exact,
        newest_only=page.newest_only,
        next_cursor=page.next_cursor,
        facets={
            name: [FacetValueOut.model_validate(value) for value in values]
            for name, values in page.facets.items()
        },
        help=None if page.help is None else SearchHelpOut.model_validate(page.help),
    )


def marked_up(pieces: Pieces) -> str:
    """The pieces as HTML, whatever they hold escaped, each match in a mark element."""
    mark = Markup("<mark>{}</mark>")
    return str(
        Markup("").join(mark.format(text) if match else escape(text) for text, match in pieces)
    )
