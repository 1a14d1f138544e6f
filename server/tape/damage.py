"""Damage that no format tells of: a torn feed, a splice, a channel that is stuck.

All are judged with caution, since a clean tape must not be alarmed over: a run of frames without
or with all holes counts only where the format has no use for it, in the midst of a line or
record, or of a block that fails its check. Fill between lines, rub-outs, zeros in a program and
the gaps between blocks are ordinary (common practice, no source).
"""

from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from server.tape.codes.base import Parity
from server.tape.findings import CheckStatus, Finding, Severity
from server.tape.formats import FORMATS
from server.tape.formats.base import Decoding
from server.tape.hexadecimal.places import bounded
from server.tape.hexadecimal.records import Grammar
from server.tape.image import Span, blank_or_rubbed_out
from server.tape.parts import Part, PartKind
from server.tape.view import View

SHORTEST: Final = 8
"""Idle frames in a row, below which a program or its punch may be their cause."""

LONG: Final = 50
"""Idle frames in a row that a hand fed or a splice joined: half a fold of tape."""

_END_MISSING = frozenset({"end-record-missing", "end-block-missing", "program-end-missing"})
_MANY_GAPS = 4
_PRINTING = 0x20
_SEVEN = 0x7F
_ENOUGH, _PLENTY = 128, 256
_DISTINCT = 12
_SELDOM = 0.05


def damage_findings(view: View, parts: Iterable[Part]) -> list[Finding]:
    """What is likely wrong with the tape in `view`, in its frames; `parts` stand in its order."""
    programs = [part for part in parts if part.kind is PartKind.PROGRAM and part.decoding]
    decodings = [part.decoding for part in programs if part.decoding]
    found = [each for decoding in decodings for each in _of_one(view, decoding)]
    found += [each for pair in pairwise(decodings) for each in _between(*pair)]
    return sorted(found, key=lambda finding: finding.frame)


def _of_one(view: View, decoding: Decoding) -> Iterator[Finding]:
    if decoding.data.frames:
        runs = _in_text(view, decoding) if decoding.code else _in_blocks(view, decoding)
        yield from bounded(len(runs), lambda index: _told(runs[index]))
        yield from _channels(view, decoding)


class _Run(NamedTuple):
    """Frames in a row that are idle; `within` says in the midst of what they stand."""

    span: Span
    blank: bool
    within: str


def _told(run: _Run) -> Finding:
    frames = run.span.frames
    holes = "without holes" if run.blank else "with all holes"
    if run.blank and frames >= LONG:
        return Finding(
            kind="splice",
            severity=Severity.WARNING if run.within else Severity.NOTE,
            frame=run.span.start,
            frames=frames,
            message=f"{frames} frames without holes stand amid the data{run.within}",
            advice="look there for a splice, and for frames lost in it; a hand may have fed the "
            "tape as well",
        )
    return Finding(
        kind="torn-feed",
        severity=Severity.WARNING,
        frame=run.span.start,
        frames=frames,
        message=f"{frames} frames {holes} in a row stand{run.within}",
        advice="look there for torn feed holes or a hole in the tape; mend the tape before it is "
        "read again",
    )


def _in_text(view: View, decoding: Decoding) -> list[_Run]:
    """Idle runs among characters: those within a line or record, and long ones anywhere."""
    characters = view.characters(decoding.code or "")
    first, last = characters.frames.searchsorted(np.array(decoding.data, np.int32))
    frames, text = characters.frames[first:last], characters.text[first:last]
    gaps = np.flatnonzero(np.diff(frames) > SHORTEST)
    expected = {each.frame for each in decoding.findings if each.kind == "data-after-end"}
    runs = []
    for at in gaps.tolist():
        span = Span(int(frames[at]) + 1, int(frames[at + 1]))
        if span.stop in expected:
            continue
        run = _run(view, span, _within(decoding, text[at], text[at + 1]))
        if run and (run.within if not run.blank or span.frames < LONG else True):
            runs.append(run)
    return runs


def _within(decoding: Decoding, before: int, after: int) -> str:
    """In the midst of what these two characters stand; "" where one thing ends or begins."""
    if before < _PRINTING or after < _PRINTING:
        return ""
    grammar = getattr(FORMATS.get(decoding.format), "grammar", None)
    if isinstance(grammar, Grammar):
        return "" if after == grammar.mark[0] else ", in the midst of a record"
    return ", in the midst of a line"


def _run(view: View, span: Span, within: str) -> _Run | None:
    """The idle run that fills `span`, if it is of one kind; rub-outs in a line are ordinary."""
    holes = view.array[slice(*span)] & np.uint8(_SEVEN & ((1 << view.image.levels) - 1))
    if not holes.any():
        return _Run(span, blank=True, within=within)
    full = bool(np.all(holes == holes.max())) and within.endswith("record")
    return _Run(span, blank=False, within=within) if full else None


def _in_blocks(view: View, decoding: Decoding) -> list[_Run]:
    """Idle runs in what fails its check, and long ones between blocks that else lie close."""
    runs = _gaps_between_blocks(view, decoding)
    spans = [
        Span(each.frame, each.frame + each.frames)
        for each in decoding.findings
        if each.severity is Severity.DAMAGE
    ]
    if not spans:
        return runs
    failing = np.zeros(len(view.array) + 1, np.int32)
    np.add.at(failing, [span.start for span in spans], 1)
    np.add.at(failing, [span.stop for span in spans], -1)
    fails = np.cumsum(failing[:-1]) > 0
    where = ", in the midst of what fails its check"
    for idle in blank_or_rubbed_out(view.image.levels):
        runs += [
            _Run(span, blank=idle == 0, within=where)
            for span in _stretches((view.array == idle) & fails)
        ]
    return runs


def _stretches(chosen: NDArray[np.bool_]) -> list[Span]:
    """The runs of frames chosen, `SHORTEST` or longer."""
    edges = np.flatnonzero(np.diff(chosen, prepend=False, append=False))
    starts, stops = edges[::2], edges[1::2]
    long = stops - starts >= SHORTEST
    pairs = zip(starts[long].tolist(), stops[long].tolist(), strict=True)
    return [Span(start, stop) for start, stop in pairs]


def _gaps_between_blocks(view: View, decoding: Decoding) -> list[_Run]:
    gaps = [
        Span(before.frame + before.frames, after.frame)
        for before, after in pairwise(decoding.blocks)
    ]
    long = [gap for gap in gaps if gap.frames >= LONG and not view.array[slice(*gap)].any()]
    return [_Run(gap, blank=True, within="") for gap in long if len(long) * _MANY_GAPS <= len(gaps)]


def _between(before: Decoding, after: Decoding) -> Iterator[Finding]:
    """A long blank between a program without its end and another of its kind."""
    gap = Span(before.data.stop, after.data.start)
    cut_off = any(each.kind in _END_MISSING for each in before.findings)
    if gap.frames >= LONG and cut_off and before.format == after.format:
        yield _told(_Run(gap, blank=True, within=", where a program ends too soon"))


def _channels(view: View, decoding: Decoding) -> Iterator[Finding]:
    """Channels that are never or always punched where the data need them otherwise."""
    array = view.array[slice(*decoding.data)]
    counts = np.bincount(array, minlength=256)
    counts[list(blank_or_rubbed_out(view.image.levels))] = 0
    frames = int(counts.sum())
    if frames < _ENOUGH:
        return
    shares = _shares(counts, view.image.levels)
    if decoding.format == "unrecognised":
        yield from _without_format(decoding, shares, frames)
    elif decoding.language == "nc" and decoding.parity in (Parity.MARK, Parity.SPACE):
        yield _stuck(decoding, shares, 8, Severity.NOTE)
    elif decoding.code == "iso-646" and decoding.check_status is not CheckStatus.SOUND:
        # Letters and digits alike need these four, and texts of few characters are pictures.
        varied = frames >= _PLENTY and np.count_nonzero(counts) >= _DISTINCT
        for channel in _constant(shares[:4]) if varied else []:
            yield _stuck(decoding, shares, channel, Severity.WARNING)


def _shares(counts: NDArray[np.intp], levels: int) -> list[float]:
    """In which share of the frames counted each channel is punched."""
    frames = np.arange(256)
    total = counts.sum()
    return [float(counts[frames >> channel & 1 == 1].sum() / total) for channel in range(levels)]


def _constant(shares: Sequence[float]) -> list[int]:
    return [channel for channel, share in enumerate(shares, 1) if share in (0.0, 1.0)]


def _without_format(decoding: Decoding, shares: list[float], frames: int) -> Iterator[Finding]:
    used = max((channel for channel, share in enumerate(shares, 1) if share), default=0)
    if len(shares) == 8 and used in (5, 6):
        yield Finding(
            kind="wrong-levels",
            severity=Severity.WARNING,
            frame=decoding.data.start,
            frames=decoding.data.frames,
            message=f"no frame has a hole beyond channel {used}: the tape seems to have "
            f"{used} levels, not 8",
            advice="measure the tape's width, set the reader's levels, and read it again",
        )
        return
    constant = _constant(shares)
    others = [share for share in shares if share not in (0.0, 1.0)]
    lively = all(_SELDOM < share < 1 - _SELDOM for share in others)
    if frames >= _PLENTY and len(constant) == 1 and lively:
        severity = Severity.NOTE if constant[0] == len(shares) else Severity.WARNING
        yield _stuck(decoding, shares, constant[0], severity)


def _stuck(decoding: Decoding, shares: list[float], channel: int, severity: Severity) -> Finding:
    how = "always" if shares[channel - 1] else "never"
    return Finding(
        kind="stuck-channel",
        severity=severity,
        frame=decoding.data.start,
        frames=decoding.data.frames,
        message=f"channel {channel} is {how} punched, from the first frame of the data to the last",
        advice=f"look at the tape: if channel {channel} is not so there, clean or adjust the "
        "reader's channel and read it again",
    )
