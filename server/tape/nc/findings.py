"""Findings about blocks: what is none, numbers out of order, a program without its end."""

import re
from collections.abc import Iterator
from typing import Final

from server.tape.findings import Finding, Severity
from server.tape.hexadecimal.places import Places, bounded
from server.tape.nc.blocks import Block, Program

UNKNOWN: Final = 0x1A
"""What a code gives for a frame that is in none of its tables (SUB of ISO 646)."""

_BARE_LETTER = re.compile(rb"[A-Z](?![A-Z])")
_QUOTED = 16


def block_findings(program: Program, places: Places) -> list[Finding]:
    """All that is odd about the blocks of `program`, whose text is that of `places`."""
    strange = [block for block in program.filled if not block.whole]
    back = list(_out_of_order(program))
    return [
        *_title(program, places),
        *bounded(len(strange), lambda index: _strange(strange[index], places)),
        *bounded(len(back), lambda index: _order(*back[index], places)),
        *_unknown(program, places),
        *_end(program, places),
    ]


def _finding(
    block: Block, places: Places, kind: str, severity: Severity, message: str, advice: str
) -> Finding:
    return places.finding(block.start, block.stop, kind, severity, message, advice)


def _title(program: Program, places: Places) -> list[Finding]:
    title = program.title
    if not title:
        return []
    span = title[0].start, title[-1].stop
    shown = _quoted(title[0].text.strip())
    message = f"before the start of the program stands {shown}"
    advice = "nothing: a control passes over what stands before %, and people read it"
    return [places.finding(*span, "text-before-start", Severity.NOTE, message, advice)]


def _strange(block: Block, places: Places) -> Finding:
    at = block.fault
    rest = block.text[at:]
    if _BARE_LETTER.match(rest):
        return _finding(
            block,
            places,
            "word-without-number",
            Severity.WARNING,
            f"the word {chr(rest[0])} at character {at + 1} of the block has no number",
            "compare the block with the tape: a digit may not have been read",
        )
    return _finding(
        block,
        places,
        "not-a-block",
        Severity.WARNING,
        f"the block is not made of words: {_quoted(rest)} stands at its character {at + 1}",
        "compare the block with the tape, and with the code that the control reads",
    )


def _out_of_order(program: Program) -> Iterator[tuple[Block, int]]:
    """Numbered blocks that repeat a number or go back, each with the number before it.

    A start, and a word O, begin the count again.
    """
    seen: set[int] = set()
    latest = -1
    for block in program.filled:
        number = block.number
        if number is None:
            if block.begins or block.text.lstrip()[:1] == b"O":
                seen, latest = set(), -1
            continue
        if number < latest or number in seen:
            yield block, latest
        seen.add(number)
        latest = number


def _order(block: Block, latest: int, places: Places) -> Finding:
    back = block.number is not None and block.number < latest
    return _finding(
        block,
        places,
        "block-number-order",
        Severity.NOTE,
        f"block number N{block.number} follows N{latest}"
        if back
        else f"block number N{block.number} stands a second time",
        "see whether blocks were put in or copied; a search finds the first of equal numbers",
    )


def _unknown(program: Program, places: Places) -> list[Finding]:
    """Frames in no table; those that break parity are told as such."""
    text = places.characters.text[: program.stop]
    broken = set(places.characters.parity_errors.tolist())
    frames = places.characters.frames
    found = [
        match.start()
        for match in re.finditer(rb"\x1a", text)
        if int(frames[match.start()]) not in broken
    ]
    return bounded(
        len(found),
        lambda index: places.finding(
            found[index],
            found[index] + 1,
            "unknown-frame",
            Severity.WARNING,
            f"no table of {places.characters.code} has these holes",
            "compare the frame with the tape and with the manual of the control: makers added "
            "codes of their own",
        ),
    )


def _end(program: Program, places: Places) -> list[Finding]:
    if not program.filled or any(block.ends for block in program.filled):
        return []
    return [
        _finding(
            program.filled[-1],
            places,
            "program-end-missing",
            Severity.WARNING,
            "the program ends without M02 or M30",
            "see whether the tape was torn off or read to its end",
        )
    ]


def _quoted(text: bytes) -> str:
    shown = text[:_QUOTED].decode("ascii", "backslashreplace")
    return repr(shown + ("…" if len(text) > _QUOTED else ""))
