"""`inspect`: what a file would be decoded to; needs the tape core only, no database."""

import sys
from argparse import Namespace
from collections.abc import Iterator
from pathlib import Path

from server.commands.console import DONE, UNUSABLE, complain, give, labelled, say
from server.inspection import FindingFacts, ImageFacts, facts_of
from server.tape.errors import BadImage
from server.tape.estimate import RATES, seconds
from server.tape.findings import MM_PER_INCH
from server.tape.identify import Decoded, decode
from server.tape.listing import Listing

STANDARD_INPUT = "-"

LARGEST = 50_000_000
"""Frames on 127 km of tape: a hundred of the longest rolls, so no input runs without end."""


class FileFacts(ImageFacts):
    """The facts of an image, and the file that it was read from."""

    file: str


def run(args: Namespace) -> int:
    """Inspect each of `args.files`; a file that cannot be an image does not stop the rest."""
    outcomes = [_inspect(name, args) for name in args.files]
    return max(outcomes)


def _inspect(name: str, args: Namespace) -> int:
    try:
        decoded = decode(_read(name), args.levels)
    except OSError as error:
        complain(f"{name}: {error.strerror or error}", "Give the name of a file that can be read.")
    except BadImage as error:
        place = "" if error.frame is None else f" (frame {error.frame})"
        complain(f"{name}: {error.what}{place}", f"To mend it: {error.mend}.")
    else:
        _show(name, decoded, as_json=args.json)
        return DONE
    return UNUSABLE


def _read(name: str) -> bytes:
    """The bytes of a file, or of standard input; no more than any tape can have."""
    if name == STANDARD_INPUT:
        data = sys.stdin.buffer.read(LARGEST + 1)
    else:
        with Path(name).open("rb") as file:
            data = file.read(LARGEST + 1)
    if len(data) > LARGEST:
        raise BadImage(
            f"it has more than {LARGEST:,} bytes, so it is no tape",
            mend="give the image of one tape, a byte for each frame",
        )
    return data


def _show(name: str, decoded: Decoded, *, as_json: bool) -> None:
    facts = facts_of(decoded)
    if as_json:
        give(FileFacts.model_validate(dict(facts) | {"file": name}))
        return
    say(name, *labelled(_facts(facts)))
    say("", *_findings(facts.findings))
    say("", *_listing(decoded.decoding.listing))


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
    yield "loads", ", ".join(f"{each.start:04X} to {each.end:04X}" for each in facts.load_ranges)
    yield "entry", "" if facts.entry_address is None else f"{facts.entry_address:04X}"
    yield "check status", facts.check_status
    for each in facts.identified:
        yield "tried as", f"{each.format}, {each.confidence:.0%} sure: {each.reason}"


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
