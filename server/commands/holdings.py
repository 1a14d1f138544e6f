"""`upload`, `tapes` and `download`: what the archive holds."""

import sys
from argparse import Namespace
from pathlib import Path

from server.api.models import ReceiptOut
from server.api.tapes import TapeRowOut
from server.catalog import accession, downloads, tapes
from server.catalog.accession import Upload
from server.catalog.dialects import formats_of
from server.catalog.errors import ArchiveError, NotVerified
from server.catalog.records import Receipt
from server.catalog.tape_values import TapeQuery, TapeRow
from server.commands.archive import plainly, refuse, refuse_unverified, working
from server.commands.console import DONE, give, say, table
from server.commands.files import STANDARD_OUTPUT
from server.settings import Settings


def upload(args: Namespace) -> int:
    """Take in each of `args.files`; one that is refused does not stop the rest."""
    return max(_upload(Namespace(**vars(args), file=file)) for file in args.files)


@plainly
def _upload(args: Namespace) -> int:
    try:
        receipt = _taken_in(args)
    except ArchiveError as error:
        return refuse(error, about=args.file)
    if args.json:
        give(ReceiptOut.of(receipt))
    else:
        _say_receipt(args.file, receipt)
    return DONE


def _taken_in(args: Namespace) -> Receipt:
    values = {"tape": args.tape, "levels": args.levels}
    given = Upload.of(
        {name: value for name, value in values.items() if value is not None}
        | {"file_name": Path(args.file).name, "data": Path(args.file).read_bytes()}
    )
    settings = Settings()
    formats = formats_of(settings.dialects)
    examined = accession.examine(given, settings.upload_limit_bytes, formats)
    with working(writes=False) as work:
        examined = accession.meet(work, examined)
    with working() as work:
        return accession.accept(work, examined)


def _say_receipt(file: str, receipt: Receipt) -> None:
    image = receipt.image
    say(
        f"{file}: {'held already' if receipt.held else 'taken in'} as {image.sha256}",
        f"  {image.format}, {image.check_status}, {image.bytes:,} frames, {image.lines:,} lines",
    )
    if receipt.duplicate_of and not receipt.held:
        say(f"  the same content as {receipt.duplicate_of}")
    say(*(f"  resembles {each.title}: {each.description}" for each in receipt.kin))
    say(*(f"  {note}" for note in receipt.notes))


@plainly
def tapes_held(args: Namespace) -> int:
    """List a page of the tapes."""
    with working(writes=False) as work:
        page = tapes.page(work, TapeQuery.of({"page": args.page}))
    if args.json:
        for row in page.rows:
            give(TapeRowOut.model_validate(row))
        return DONE
    head = ("accession", "title", "format", "check status", "verification", "condition")
    say(*table(head, map(_cells, page.rows)))
    say(f"page {page.page} of {page.pages}, {page.total:,} tapes")
    return DONE


def _cells(row: TapeRow) -> tuple[str, ...]:
    return (
        row.accession_number,
        row.title,
        row.format or "not read",
        row.check_status or "",
        row.verification,
        row.condition,
    )


@plainly
def download(args: Namespace) -> int:
    """Write the frames of an image to a file that is not there yet, or to standard output."""
    try:
        with working() as work:
            taken = downloads.download(work, args.sha256, acknowledged=args.unverified)
    except NotVerified as error:
        return refuse_unverified(error)
    if args.file == STANDARD_OUTPUT:
        sys.stdout.buffer.write(taken.frames)
        return DONE
    with Path(args.file).open("xb") as file:
        file.write(taken.frames)
    say(f"{args.file}: {len(taken.frames):,} frames, SHA-256 {taken.sha256}")
    return DONE
