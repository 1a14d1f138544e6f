"""The machine code of an image: statements with links between them, tied to the tape."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice
from typing import ClassVar, Final
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import images, machine_code
from server.catalog.records import ImageRecord
from server.catalog.work import Work
from server.tape.cpu.notation import Notation
from server.tape.findings import Finding, Severity
from server.tape.formats import Formats
from server.tape.program_view import CodeRow, MachineCode, processors_for
from server.web.context import PageContext
from server.web.listed import LINES_A_BUNDLE, LINES_A_PAGE, Piece
from server.web.visit import VisitDep

router = APIRouter()

REFERENCES_SHOWN: Final = 6
FINDINGS_SHOWN: Final = 200

WIDEST_STATEMENT: Final = 31
"""Eight bytes in octal; longer ones (texts) stand over the column beside them."""


@dataclass(frozen=True, slots=True)
class CodeLine:
    """One statement: the name of its place on the page, its columns, and what refers to it.

    `before` is what stands before the statement: cells and label, padded to their columns.
    """

    anchor: str
    address: str
    before: str
    pieces: tuple[Piece, ...]
    references: tuple[Piece, ...]
    more_references: int
    frame: int
    frames: int
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class CodePage(PageContext):
    """The code, a page of it at a time; `processor` and `notation` are what was asked for."""

    template: ClassVar[str] = "pages/code.html"
    image: ImageRecord
    code: MachineCode
    bundles: tuple[tuple[CodeLine, ...], ...]
    page: int
    pages: int
    processor: str
    notation: str
    processors: tuple[str, ...]
    notations: tuple[str, ...] = tuple(Notation)

    @classmethod
    def of(
        cls, work: Work, sha256: str, asked: tuple[str, str], page: int, formats: Formats
    ) -> "CodePage":
        """The page of the code of the image with this digest, as it is asked for."""
        image = images.get(work, sha256)
        code = machine_code.of(work, sha256, *asked, formats=formats)
        pages = max(1, -(-len(code.rows) // LINES_A_PAGE))
        page = min(max(1, page), pages)
        lines = _Lines(code, image.findings, page, asked).shown()
        return cls(
            title=f"Code of {image.title}",
            image=image,
            code=code,
            bundles=tuple(
                lines[at : at + LINES_A_BUNDLE] for at in range(0, len(lines), LINES_A_BUNDLE)
            ),
            page=page,
            pages=pages,
            processor=asked[0],
            notation=asked[1],
            processors=processors_for(code.cell_bytes),
        )


class _Lines:
    """The lines of one page of `code`."""

    def __init__(
        self, code: MachineCode, findings: Sequence[Finding], page: int, asked: tuple[str, str]
    ) -> None:
        self._asked = {"processor": asked[0], "notation": asked[1]}
        self._code = code
        grave = (each for each in findings if each.severity is not Severity.NOTE)
        self._findings = tuple(islice(grave, FINDINGS_SHOWN))
        self._page = page
        self._targets = code.targets
        self._places = {row.statement.address: at for at, row in enumerate(code.rows)}
        shown = (len(row.cells) for row in code.rows if row.statement.kind == "code")
        self._cells = max(shown, default=0)
        widest = max((len(row.statement.text) for row in code.rows), default=0)
        self._statements = min(widest, WIDEST_STATEMENT)
        self._labels = max(map(len, code.disassembly.labels.values()), default=0)

    def shown(self) -> tuple[CodeLine, ...]:
        start = (self._page - 1) * LINES_A_PAGE
        stop = min(start + LINES_A_PAGE, len(self._code.rows))
        return tuple(self._line(index) for index in range(start, stop))

    def _line(self, index: int) -> CodeLine:
        row = self._code.rows[index]
        statement = row.statement
        references = self._code.disassembly.references.get(statement.address, ())
        label = statement.label or ""
        return CodeLine(
            anchor=_anchor(statement.address),
            address=row.address,
            before=f"{self._cells_of(row):{self._cells}}  {label:{self._labels}}  ",
            pieces=self._pieces(statement.text, self._targets.get(statement.address)),
            references=tuple(self._link(each) for each in references[:REFERENCES_SHOWN]),
            more_references=max(0, len(references) - REFERENCES_SHOWN),
            frame=row.frame,
            frames=row.frames,
            findings=self._found_in(row),
        )

    def _cells_of(self, row: CodeRow) -> str:
        """What the cells hold, in no wider a column than instructions need.

        Data are figures already, and of a text that is longer the beginning is enough.
        """
        if row.statement.kind == "data":
            return ""
        if len(row.cells) <= self._cells:
            return row.cells
        whole = row.cells[: max(self._cells - 1, 0)].rpartition(" ")[0]
        return f"{whole} …" if whole else ""

    def _found_in(self, row: CodeRow) -> tuple[Finding, ...]:
        """What was found in the frames of the statement, notes left aside."""
        stop = row.frame + row.frames
        return tuple(
            each
            for each in self._findings
            if each.frame < stop and row.frame < each.frame + max(1, each.frames)
        )

    def _pieces(self, text: str, target: int | None) -> tuple[Piece, ...]:
        """The statement, the name of the address it goes to as a link, filled up with blanks."""
        text = text.ljust(self._statements)
        label = "" if target is None else self._code.disassembly.labels[target]
        before, name, after = text.partition(label) if label else (text, "", "")
        if not name or target is None:
            return (Piece(text),)
        pieces = (Piece(before), Piece(name, href=self._href(target)), Piece(after))
        return tuple(piece for piece in pieces if piece.text)

    def _link(self, address: int) -> Piece:
        shown = self._code.notation.address(address, self._code.cell_bytes)
        return Piece(shown, href=self._href(address))

    def _href(self, address: int) -> str | None:
        """Where the statement at `address` stands; None where one runs over that address."""
        at = self._places.get(address)
        if at is None:
            return None
        page = 1 + at // LINES_A_PAGE
        query = "" if page == self._page else f"?{urlencode({**self._asked, 'page': page})}"
        return f"{query}#{_anchor(address)}"


def _anchor(address: int) -> str:
    return f"A{address:04X}"


@router.get("/images/{sha256}/code")
def code(
    visit: VisitDep, sha256: str, processor: str = "", notation: str = "", page: int = 1
) -> Response:
    """The machine code of an image."""
    with visit.work() as work:
        asked = (processor, notation)
        return visit.page(CodePage.of(work, sha256, asked, page, visit.formats))
