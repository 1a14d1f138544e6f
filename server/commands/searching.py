"""`search`, `bytes` and `example`: what in the archive holds something."""

from argparse import Namespace
from pathlib import Path

from server.api.by_example import AnswerOut, ByteHitOut
from server.api.search import HitOut
from server.catalog import by_example as examples
from server.catalog import byte_search, search
from server.catalog.by_example import Answer, Example
from server.catalog.byte_values import ByteHit, BytePage, ByteQuery
from server.catalog.search import Hit, SearchPage, SearchQuery
from server.catalog.search_values import FACETS, SearchHelp
from server.catalog.uploads import Upload
from server.commands.archive import plainly, working
from server.commands.console import DONE, give, say


@plainly
def find(args: Namespace) -> int:
    """Find `args.text` in listings, tapes and programs: every place, part by part."""
    asked = {"q": args.text, "line": args.line}
    asked |= {name: getattr(args, name) for name in ("kind", *FACETS)}
    query = SearchQuery.of({name: value for name, value in asked.items() if value is not None})
    page: SearchPage | None = None
    while page is None or page.next_cursor is not None:
        if page is not None:
            query = query.model_copy(update={"cursor": page.next_cursor})
        with working(writes=False) as work:
            page = search.find(work, query)
        for hit in page.hits:
            _show_hit(hit, as_json=args.json)
        if not args.json:
            _say_help(page.help)
    if not args.json:
        say(f"{page.total:,}{'' if page.total_is_exact else ' and more'} found")
    return DONE


def _say_help(help_: SearchHelp | None) -> None:
    if help_ is None:
        return
    if help_.spelling:
        say(f"Did you mean: {help_.spelling}")
    for each in help_.near:
        say(f"like it: {each.accession or f'program {each.program}'}  {each.title}")
    for name, count in help_.dropped.items():
        say(f"without --{name.replace('_', '-')}: {count:,}")


def _show_hit(hit: Hit, *, as_json: bool) -> None:
    if as_json:
        give(HitOut.of(hit))
        return
    line = "" if hit.line is None else f", line {hit.line}"
    name = hit.accession or hit.sha256 or f"program {hit.program}"
    excerpt = "".join(text for text, _ in hit.excerpt)
    say(f"{name}  {hit.title}, {hit.field}{line}: {excerpt}")


@plainly
def find_bytes(args: Namespace) -> int:
    """Find `args.bytes` in frames or in loaded memory: every image, part by part."""
    asked = {"bytes": args.bytes, "base": args.base, "where": args.where}
    page: BytePage | None = None
    images = 0
    while page is None or page.next_cursor is not None:
        cursor = {} if page is None else {"cursor": page.next_cursor}
        with working(writes=False) as work:
            page = byte_search.find(work, ByteQuery.of(asked | cursor))
        images += len(page.hits)
        for hit in page.hits:
            _show_bytes(hit, args.where, as_json=args.json)
    if not args.json:
        say(f"{images:,} found")
    return DONE


def _show_bytes(hit: ByteHit, where: str, *, as_json: bool) -> None:
    if as_json:
        give(ByteHitOut.of(hit))
        return
    say(f"{hit.accession or hit.sha256}  {hit.title}, {hit.format}: {hit.count:,}")
    for place in hit.places:
        at = hit.writing.address(place.at) if where == "memory" else f"frame {place.at}"
        before, found, after = map(hit.writing.cells, (place.before, place.found, place.after))
        say(f"  {at}: {before} [{found}] {after}")


@plainly
def by_example(args: Namespace) -> int:
    """Say what holds the lines, or the image, in `args.file`."""
    data = Path(args.file).read_bytes()
    with working(writes=False) as work:
        if args.lines:
            example = Example.of({"text": data.decode(errors="replace")})
            answer = examples.of_example(work, example)
        else:
            upload = Upload.of({"file_name": Path(args.file).name, "data": data})
            answer = examples.of_image(work, upload)
    if args.json:
        give(AnswerOut.of(answer))
    else:
        _say_answer(answer)
    return DONE


def _say_answer(answer: Answer) -> None:
    if answer.held:
        say(f"held: {answer.held}")
    for each in answer.holders:
        name = each.accession or each.sha256
        say(f"{name}  {each.title}: {each.lines} of {each.of} lines, from line {each.line} on")
    for kin in answer.kin:
        say(f"{kin.accession or kin.sha256}  {kin.title}: {kin.kinship}, {kin.description}")
    for hit in answer.frames.hits:
        _show_bytes(hit, "frames", as_json=False)
    if not answer.found:
        say("Nothing held holds it or resembles it.")
