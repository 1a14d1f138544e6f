"""What is said of tapes of the 12-bit machine: frames, pairs, groups, checksums, comments."""

from typing import Final

import numpy as np

from server.tape.cpu.notation import Notation
from server.tape.findings import Finding, Severity, place
from server.tape.hexadecimal.places import bounded
from server.tape.load_findings import Terms
from server.tape.twelve_bit.frames import Frameset, Program
from server.tape.twelve_bit.groups import GROUP, Groups
from server.tape.twelve_bit.loads import FIELD_WORDS
from server.tape.twelve_bit.pairs import Body

TERMS: Final = Terms(unit="block", cells="words", notation=Notation.OCTAL, cell_bytes=2)

_READ_AGAIN: Final = "read these frames again"
_NAMED: Final = 5
_FRAME_VALUES: Final = 0o200
_DATA_VALUES: Final = 0o100
_WITHOUT_ORIGIN_FRAME: Final = 2 * GROUP


def frame_findings(program: Program, frameset: Frameset) -> list[Finding]:
    """Frames whose upper channels are wrong, and comments, among those of `program`."""
    flawed = np.flatnonzero(program.flawed)

    def flaw(index: int) -> Finding:
        frame = int(program.at[flawed[index]])
        holes = int(program.values[flawed[index]])
        return _finding(
            "unknown-frame",
            Severity.DAMAGE,
            frame,
            frame + 1,
            f"the holes {holes:03o} are neither leader, origin, field nor data",
            f"{_READ_AGAIN}; channels 1 to 6 were taken as they are, and a loader may stop here",
        )

    told = bounded(flawed.size, flaw)
    first, last = program.span
    told += [
        _finding(
            "comment",
            Severity.NOTE,
            each.start,
            each.stop,
            f"between rub-outs stands {each.text!r}",
            "nothing: the loader skips it",
        )
        for each in frameset.comments
        if first <= each.start < last
    ]
    if frameset.open_comment is not None and first <= frameset.open_comment < last:
        told.append(
            _finding(
                "comment-open",
                Severity.DAMAGE,
                frameset.open_comment,
                frameset.open_comment + 1,
                "a rub-out has no fellow: a loader skips all that follows it",
                "read this frame again; here it alone was skipped",
            )
        )
    return told


def group_findings(program: Program, groups: Groups) -> list[Finding]:
    """Groups that do not have four frames, and frames before the first origin."""
    wrong = np.flatnonzero(groups.sizes != GROUP)

    def misfit(index: int) -> Finding:
        first, size = int(groups.firsts[wrong[index]]), int(groups.sizes[wrong[index]])
        kind, what = _group_harm(program, first, size)
        return _span_finding(
            program,
            first,
            first + size,
            kind,
            f"{size} frames from one origin to the next where four are due: {what}",
            f"{_READ_AGAIN}; none of them was loaded (offered, not applied)",
        )

    told = bounded(wrong.size, misfit)
    before = int(groups.firsts[0]) if groups.firsts.size else len(program)
    if before:
        told.append(_without_origin(program, before))
    return told


def _group_harm(program: Program, first: int, size: int) -> tuple[str, str]:
    if size == GROUP - 1:
        return "frame-dropped", "a frame was dropped"
    if size == GROUP + 1:
        return "frame-doubled", "a frame was read twice, or got in"
    if size == _WITHOUT_ORIGIN_FRAME:
        due = int(program.values[first + GROUP]) | 0o100
        return "origin-lost", f"the fifth is an origin if its channel 7 is punched, {due:03o}"
    return "record-truncated", "frames are missing, or channel 7 of an origin is"


def pair_findings(program: Program, body: Body, unplaced: int) -> list[Finding]:
    """Frames that find no second, words that no origin gives an address, and the checksum."""

    def lone(index: int) -> Finding:
        at = int(body.lone[index])
        kind, what = _lone_harm(program, body, at)
        return _span_finding(
            program,
            int(body.anchors[at]),
            at + 1,
            kind,
            f"an odd number of frames stands between two origins: {what}",
            f"{_READ_AGAIN} slowly; the words behind the place are wrong (offered, not applied)",
        )

    told = bounded(body.lone.size, lone)
    if unplaced:
        told.append(_without_origin(program, min(2 * unplaced, len(program))))
    return told + _checksum(program, body)


def _lone_harm(program: Program, body: Body, at: int) -> tuple[str, str]:
    if body.lone.size == 1 and body.checksum is not None:
        first = int(body.anchors[at])
        values = program.values[first : at + 1]
        if not body.surplus:
            return "frame-dropped", "the checksum closes, so a frame 000 was dropped or read twice"
        if body.surplus < _FRAME_VALUES:
            twice = np.flatnonzero((values[1:] == values[:-1]) & (values[1:] == body.surplus)) + 2
            if twice.size:
                named = " or ".join(str(each) for each in twice[:_NAMED].tolist())
                return "frame-doubled", (
                    f"the checksum closes without frame {named} of them, a second "
                    f"{body.surplus:03o}"
                )
        missing = -body.surplus % FIELD_WORDS
        if missing < _DATA_VALUES:
            return "frame-dropped", f"the checksum closes with a frame {missing:03o} put in"
    return "frame-dropped", "one was dropped, or one was read twice"


def _checksum(program: Program, body: Body) -> list[Finding]:
    if body.closes:
        return []
    last = len(program)
    if body.checksum is None:
        return [
            _span_finding(
                program,
                last - 1,
                last,
                "end-record-missing",
                "the program does not end in two data frames, its checksum",
                "see whether the tape was torn off or read to its end",
            )
        ]
    repair = "" if body.lone.size else f"; {_one_hole(program, body)}"
    return [
        _span_finding(
            program,
            last - 2,
            last,
            "checksum-mismatch",
            f"the checksum is {body.checksum:04o} where the frames before it sum to "
            f"{body.total:04o}",
            f"read the program again: its words were loaded{repair}",
        )
    ]


def _one_hole(program: Program, body: Body) -> str:
    """The single hole that would close the checksum, and where it can be."""
    places = []
    six = program.six[: body.size]
    counted = ~program.field[: body.size]
    for bit in range(6):
        change = 1 << bit
        if -body.surplus % FIELD_WORDS == change:
            places += [(at, change) for at in np.flatnonzero(counted & (six & change == 0))]
        if body.surplus == change:
            places += [(at, -change) for at in np.flatnonzero(counted & (six & change != 0))]
    assert body.checksum is not None
    in_checksum = (body.checksum ^ body.total).bit_count() == 1
    if not places and not in_checksum:
        return "no single hole closes it, so more than one is wrong"
    named = [
        f"frame {at + 1} of the program is {int(program.values[at]) + change:03o} and not "
        f"{int(program.values[at]):03o}"
        for at, change in places[:_NAMED]
    ]
    if len(places) > _NAMED:
        named.append(f"{len(places) - _NAMED} others likewise")
    if in_checksum:
        named.append(f"the checksum is {body.total:04o}")
    return f"one hole closes it if {', or '.join(named)} (offered, not applied)"


def _without_origin(program: Program, frames: int) -> Finding:
    return _span_finding(
        program,
        0,
        frames,
        "origin-lost",
        f"the first {frames} frames stand before any origin: no address is known for them",
        f"{_READ_AGAIN}; none of them was loaded",
    )


def _span_finding(
    program: Program, first: int, stop: int, kind: str, message: str, advice: str
) -> Finding:
    start, end = int(program.at[first]), int(program.at[stop - 1]) + 1
    return _finding(kind, Severity.DAMAGE, start, end, message, advice)


def _finding(
    kind: str, severity: Severity, start: int, stop: int, message: str, advice: str
) -> Finding:
    return Finding(kind, severity, start, stop - start, f"{place(start)}: {message}", advice)
