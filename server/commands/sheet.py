"""`sheet`: a load sheet as plain text, for a machine without a browser."""

from argparse import Namespace
from collections.abc import Iterator
from textwrap import wrap
from typing import Final

from server.api.load_sheets import SheetOut
from server.catalog import images, load_sheets, load_subject, tapes
from server.catalog.errors import NotFound
from server.catalog.inputs import DIGEST
from server.catalog.load_sheet_values import SheetOf, SheetRecord
from server.catalog.work import Work
from server.commands.archive import plainly, working
from server.commands.console import DONE, give, say
from server.delivery.sheet_sections import Look, Section, imprint, sections

WIDTH: Final = 80
"""Columns of a teleprinter or a terminal."""

_INDENT: Final = "    "


@plainly
def show(args: Namespace) -> int:
    """Write the sheet of `args.what`: an accession number, or the digest of an image."""
    with working(writes=False) as work:
        sheet = load_sheets.get(work, _sheet_of(work, args.what, args.version))
    if args.json:
        give(SheetOut.of(sheet))
    else:
        say(*_page(sheet))
    return DONE


def _sheet_of(work: Work, what: str, version: int | None) -> SheetOf:
    """The sheet of the version that has that content, or of the one asked for; else the image's."""
    sha256 = what if DIGEST.fullmatch(what) else _newest(work, what)
    if version is None:
        return load_subject.best_for(work, sha256)
    program = next(
        (each.program for each in images.get(work, sha256).versions if each.id == version), None
    )
    if program is None:
        raise NotFound(
            f"The image is not the master of a version of number {version}.",
            where=str(version),
            mend="Leave --version out, or look at the versions of the program.",
        )
    return SheetOf(program=program, version=version)


def _newest(work: Work, number: str) -> str:
    image = tapes.get(work, number).image
    if image is None:
        raise NotFound(
            f"Nothing was read from tape {number} yet, so it has no load sheet.",
            where=number,
            mend="Upload what was read from it, or name another tape.",
        )
    return image.sha256


def _page(sheet: SheetRecord) -> Iterator[str]:
    yield from wrap(sheet.heading, WIDTH)
    yield from wrap(sheet.machine, WIDTH)
    for section in sections(sheet):
        yield ""
        yield section.heading.upper()
        yield from _section(section)
    yield ""
    yield from wrap(imprint(sheet), WIDTH)


def _section(section: Section) -> Iterator[str]:
    for number, line in enumerate(section.lines, 1):
        mark = {Look.STEPS: f"{number:>2}. ", Look.CAUTIONS: "  ! "}.get(section.look, _INDENT)
        yield from wrap(line, WIDTH, initial_indent=mark, subsequent_indent=_INDENT)
    for cell in section.cells:
        told = f"{cell.address}  {cell.contents}  {cell.remark}"
        yield from wrap(told, WIDTH, initial_indent=_INDENT, subsequent_indent=_INDENT * 2)
