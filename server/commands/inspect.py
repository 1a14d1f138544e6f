"""`inspect`: what a file would be decoded to; needs the tape core only, no database."""

from argparse import Namespace
from collections.abc import Iterator

from server.catalog.dialects import formats_of
from server.catalog.errors import Invalid
from server.commands.console import DONE, UNUSABLE, complain, give, labelled, say
from server.commands.files import read
from server.decoding_settings import DecodingSettings
from server.inspection import (
    BlockFacts,
    CodeFacts,
    FindingFacts,
    ImageFacts,
    PartFacts,
    code_facts,
    facts_of,
)
from server.tape.cpu.notation import Notation
from server.tape.errors import BadImage
from server.tape.estimate import RATES, seconds
from server.tape.findings import MM_PER_INCH
from server.tape.formats import Formats
from server.tape.identify import Decoded, decode
from server.tape.listing import Listing
from server.tape.machine_notation import Writing, writing_of
from server.tape.program_view import MachineCode, machine_code

_MOST_BLOCKS = 40
"""Blocks that are named one by one; JSON has them all."""


class FileFacts(ImageFacts):
    """The facts of an image, and the file that it was read from."""

    file: str


class FileWithCode(FileFacts):
    """The same, and the code that the tape loads; none where it loads nothing."""

    machine_code: CodeFacts | None


def run(args: Namespace) -> int:
    """Inspect each of `args.files`; a file that cannot be an image does not stop the rest."""
    try:
        formats = formats_of(DecodingSettings().dialects)
    except Invalid as refusal:
        complain(refusal.what, refusal.mend)
        return UNUSABLE
    outcomes = [_inspect(name, args, formats) for name in args.files]
    return max(outcomes)


def _inspect(name: str, args: Namespace, formats: Formats) -> int:
    try:
        decoded = decode(read(name), args.levels, formats)
    except OSError as error:
        complain(f"{name}: {error.strerror or error}", "Give the name of a file that can be read.")
    except BadImage as error:
        place = "" if error.frame is None else f" (frame {error.frame})"
        complain(f"{name}: {error.what}{place}", f"To mend it: {error.mend}.")
    else:
        return _show(name, decoded, args)
    return UNUSABLE


def _show(name: str, decoded: Decoded, args: Namespace) -> int:
    wanted = args.code or args.processor or args.notation
    try:
        code = _code_of(decoded, args) if wanted else None
    except KeyError:
        complain(f"{name}: the {args.processor} has cells of another size than the tape loads.")
        return UNUSABLE
    facts = dict(facts_of(decoded)) | {"file": name}
    if args.json and wanted:
        give(FileWithCode.model_validate(facts | {"machine_code": code and code_facts(code)}))
    elif args.json:
        give(FileFacts.model_validate(facts))
    else:
        _say_all(FileFacts.model_validate(facts), decoded)
        if wanted:
            say("", *_disassembly(code))
    return DONE


def _code_of(decoded: Decoded, args: Namespace) -> MachineCode | None:
    return machine_code(decoded, args.processor, args.notation and Notation(args.notation))


def _say_all(facts: FileFacts, decoded: Decoded) -> None:
    say(facts.file, *labelled(_facts(facts)))
    say("", *_findings(facts.findings))
    say("", *_listing(decoded.decoding.listing))


def _disassembly(code: MachineCode | None) -> Iterator[str]:
    if code is None:
        yield "code: none, the tape loads nothing into memory"
        return
    yield f"code: {code.heading}"
    if code.assumed_address is not None:
        place = code.notation.address(code.assumed_address, code.cell_bytes)
        yield f"  shown as if loaded at {place}: the tape does not say where"
    yield from (line.text for line in code.listing)


def _facts(facts: ImageFacts) -> Iterator[tuple[str, str]]:
    yield "SHA-256", facts.sha256
    yield "frames", f"{facts.bytes:,} of {facts.levels} levels"
    yield "length", f"{facts.length_mm:,.1f} mm ({facts.length_mm / MM_PER_INCH:,.1f} in)"
    times = (f"{seconds(facts.bytes, rate):,.1f} s at {rate}" for rate in RATES)
    yield "time", f"{', '.join(times)} frames a second"
    yield "orientation", facts.orientation
    yield "leader", f"{facts.leader_frames:,} frames, trailer {facts.trailer_frames:,} frames"
    yield "lettering", facts.lettering or ""
    yield "code", _code(facts)
    yield "format", " ".join(filter(None, (facts.format, facts.dialect)))
    yield "language", facts.language or ""
    yield "loader", facts.loader_requirement
    writing = writing_of(facts.format, facts.processor.name if facts.processor else None)
    yield "addresses", writing.title if facts.load_ranges else ""
    yield "loads", ", ".join(writing.span(each.start, each.end) for each in facts.load_ranges)
    yield "entry", "" if facts.entry_address is None else writing.address(facts.entry_address)
    yield "check status", facts.check_status
    if facts.processor:
        likely = f"{facts.processor.name}, {facts.processor.likelihood:.0%} likely"
        yield "processor", f"{likely}: {facts.processor.reason}"
    for fact in facts.facts:
        yield fact.name, fact.value
    for part in facts.parts:
        yield "part", _part(part)
    for block in facts.blocks[:_MOST_BLOCKS]:
        yield "block", _block(block, writing)
    if len(facts.blocks) > _MOST_BLOCKS:
        yield "block", f"and {len(facts.blocks) - _MOST_BLOCKS} more"
    for each in facts.identified:
        yield "tried as", f"{each.format}, {each.confidence:.0%} sure: {each.reason}"


def _block(block: BlockFacts, writing: Writing) -> str:
    doubt = "" if block.sound else ", damaged"
    frames = f"{block.frames:,} frames from frame {block.frame:,}"
    return f"{writing.span(block.start, block.end)}, {frames}{doubt}"


def _part(part: PartFacts) -> str:
    said = " ".join(filter(None, (part.kind, part.format, part.text and f'"{part.text}"')))
    return f"{said}: {part.frames:,} frames from frame {part.frame:,}"


def _code(facts: ImageFacts) -> str:
    if facts.code is None:
        return ""
    return facts.code if facts.parity is None else f"{facts.code}, parity {facts.parity}"


def _findings(findings: list[FindingFacts]) -> Iterator[str]:
    yield f"findings: {len(findings)}" if findings else "findings: none"
    for each in findings:
        place = f"frame {each.frame:,}, {each.position_mm:,.1f} mm ({each.position_inches:,.1f} in)"
        extent = f", {each.frames:,} frames" if each.frames > 1 else ""
        yield f"  {each.severity}: {each.kind} at {place}{extent}"
        yield from (f"    {line}" for line in (each.message, each.advice) if line)


def _listing(listing: Listing) -> Iterator[str]:
    yield f"listing: {len(listing):,} lines" if len(listing) else "listing: none"
    yield from (line.text for line in listing)
