"""What each frame of a 12-bit machine's tape is, and into which programs the tape falls."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Final, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from server.tape.image import Frames, Span
from server.tape.view import View

Integers = NDArray[np.int64]
Booleans = NDArray[np.bool_]

LEADER: Final = 0o200
RUB_OUT: Final = 0o377
ORIGIN: Final = 0o100
FIELD: Final = 0o300

_CLASS: Final = 0o300
_LOW_SIX: Final = 0o077
_SHORT_LEADER: Final = 8
"""Fewer leader frames than this belong to the program: nothing else would take them for idle."""

MOST_LOOKED_AT: Final = 1 << 20
"""Frames; all eight fields of the machine fill a tape of less than a tenth of it."""

MOST_PROGRAMS: Final = 16
_FOREIGN_SHARE: Final = 0.1
_LIKELY: Final = 0.5

SUBSTANTIAL: Final = 0.5
"""A program without a checksum that is less of its tape than this may be there by chance."""


class Comment(NamedTuple):
    """What stands between two rub-outs, which the loader skips."""

    start: int
    stop: int
    text: str


@dataclass(frozen=True, slots=True)
class Program:
    """The frames that carry a program, leader and comments left out.

    `at` says where each lies; `origin`, `field` and `data` what it is, just one of them each;
    `flawed` that its channels 7 and 8 are as they never should be. `span` reaches over leader
    frames too few to be told from data. `led` counts the leader frames in front and behind.
    """

    at: Integers
    values: Frames
    origin: Booleans
    field: Booleans
    data: Booleans
    flawed: Booleans
    led: tuple[int, int]
    span: Span

    def __len__(self) -> int:
        return self.at.size

    @property
    def six(self) -> Integers:
        """The six bits that each frame adds to a word."""
        return (self.values & _LOW_SIX).astype(np.int64)

    @property
    def held(self) -> bool:
        """Whether leader frames stand at one end at least."""
        return max(self.led) > 1

    @property
    def begins_with_origin(self) -> bool:
        """Whether an origin, or a field setting in front of one, comes first."""
        first = int(np.argmin(self.field)) if len(self) else 0
        return bool(self.origin[first : first + 1].any())

    @property
    def content(self) -> bytes:
        """The frames themselves."""
        return self.values.tobytes()


class Weighed(Protocol):
    """How sure (0 to 1) a format is of a program."""

    @property
    def confidence(self) -> float:
        """0 to 1."""
        ...


@dataclass(frozen=True, slots=True)
class Frameset:
    """The frames of a view, told apart; `open_comment` is a rub-out that has no fellow."""

    programs: tuple[Program, ...]
    comments: tuple[Comment, ...]
    open_comment: int | None

    def share(self, program: Program) -> float:
        """Which share of the frames that carry programs, 0 to 1, is that one's."""
        return len(program) / sum(len(each) for each in self.programs)

    def chosen(self, weigh: Callable[[Program, float], Weighed]) -> Program | None:
        """The first program that is likely enough, or else the likeliest with an origin."""
        weighed = [(each, weigh(each, self.share(each)).confidence) for each in self.programs]
        sure = [each for each, confidence in weighed if confidence >= _LIKELY]
        if sure:
            return sure[0]
        with_origin = [each for each in weighed if each[0].origin.any()]
        return max(with_origin, key=lambda each: each[1], default=(None, 0.0))[0]


def may_be(view: View) -> bool:
    """Whether few enough frames have channel 8 punched that are neither leader nor field."""
    if view.image.levels != 8 or not view.data.frames:
        return False
    counts = view.histogram
    known = np.zeros(256, np.bool_)
    known[:LEADER] = True
    known[[LEADER, RUB_OUT, *range(FIELD, 0o400, 8)]] = True
    return int(counts[~known].sum()) <= _FOREIGN_SHARE * view.data.frames


def tell_apart(view: View, most: int | None = None) -> Frameset:
    """The programs between leader frames of the first `most` frames, at most `MOST_PROGRAMS`."""
    start, stop = view.data
    stop = stop + _hidden(view.array[stop:])
    stop = stop if most is None else min(stop, start + most)
    start, stop = _with_some_leader(view.array, start, -1), _with_some_leader(view.array, stop, 1)
    array = view.array[start:stop]
    skipped, comments, open_comment = _comments(array, start)
    leader = (array == LEADER) & ~skipped
    leader[_lone(leader, skipped)] = False
    own = np.flatnonzero(~skipped & ~leader)
    programs = _programs(array, own, np.cumsum(leader, dtype=np.int32), start)
    reaching = _with_comments(programs, comments)
    return Frameset(
        tuple(_over_leader(each, view.array) for each in reaching), tuple(comments), open_comment
    )


def _with_comments(programs: Iterable[Program], comments: list[Comment]) -> Iterator[Program]:
    """The programs, each with the comments in front of it, and the last with those behind."""
    stop = 0
    held: Program | None = None
    for program in programs:
        if held:
            yield held
        first = next((each.start for each in comments if each.start >= stop), program.span.start)
        held = replace(program, span=program.span._replace(start=min(first, program.span.start)))
        stop = program.span.stop
    if held:
        last = max((each.stop for each in comments), default=0)
        yield replace(held, span=held.span._replace(stop=max(last, held.span.stop)))


def _hidden(behind: Frames) -> int:
    """How many of the frames behind the data, blank ones mostly, are words before the trailer."""
    leader = np.flatnonzero(behind == LEADER)
    return int(leader[0]) if leader.size else 0


def _with_some_leader(array: Frames, edge: int, step: int) -> int:
    """`edge` of the data, moved over the rub-out of a comment and a few leader frames.

    Both are idle frames to whoever looks for data, and tell something here.
    """
    for idle in (RUB_OUT, LEADER):
        moved = 0
        while moved < _SHORT_LEADER and _next_is(array, edge + moved * step, step, idle):
            moved += 1
        # As many rub-outs in a row are leader, and open no comment.
        if idle == LEADER or moved < _SHORT_LEADER:
            edge += moved * step
    return edge


def _next_is(array: Frames, edge: int, step: int, value: int) -> bool:
    following = edge if step > 0 else edge - 1
    return 0 <= following < array.size and bool(array[following] == value)


def _lone(leader: Booleans, skipped: Booleans) -> Integers:
    """Leader frames on their own, between others: data frames with a hole too many."""
    read = np.flatnonzero(~skipped)
    run = leader[read]
    alone = run[1:-1] & ~run[:-2] & ~run[2:]
    return read[1:-1][alone]


def _comments(array: Frames, start: int) -> tuple[Booleans, list[Comment], int | None]:
    """Which frames the loader skips as comments; what they say; a rub-out without a fellow."""
    marks = array == RUB_OUT
    places = np.flatnonzero(marks)
    open_comment = None
    if places.size % 2:
        open_comment = int(places[-1]) + start
        places = places[:-1]
    if not places.size:
        return marks, [], open_comment
    edges = np.zeros(array.size + 1, np.int8)
    edges[places[::2]] = 1
    edges[places[1::2]] = -1
    inside = np.cumsum(edges[:-1], dtype=np.int8) > 0
    bounds = places.reshape(-1, 2)[: MOST_PROGRAMS * 4].tolist()
    said = [Comment(a + start, b + start + 1, _text(array[a + 1 : b])) for a, b in bounds]
    return inside | marks, [each for each in said if each.stop - each.start > 2], open_comment


def _text(frames: Frames) -> str:
    seven = (frames[:200] & 0x7F).tobytes().decode("ascii")
    return "".join(character if character.isprintable() else " " for character in seven).strip()


def _programs(
    array: Frames, own: Integers, led: NDArray[np.int32], start: int
) -> Iterator[Program]:
    if not own.size:
        return
    before = led[own]
    firsts = np.append(0, np.flatnonzero(np.diff(before)) + 1)
    lasts = np.append(firsts[1:], own.size)
    total = int(led[-1])
    for first, last in list(zip(firsts.tolist(), lasts.tolist(), strict=True))[:MOST_PROGRAMS]:
        in_front = int(before[first] - (before[first - 1] if first else 0))
        behind = int((before[last] if last < own.size else total) - before[first])
        yield _program(array, own[first:last], (in_front, behind), start)


def _program(array: Frames, own: Integers, led: tuple[int, int], start: int) -> Program:
    values = array[own]
    classes = values & _CLASS
    three = classes == FIELD
    field = three & (values & 0o7 == 0)
    origin = (classes == ORIGIN) | (three & ~field)
    return Program(
        at=own + start,
        values=values,
        origin=origin,
        field=field,
        data=~(origin | field),
        flawed=(classes == LEADER) | (three & ~field),
        led=led,
        span=Span(int(own[0]) + start, int(own[-1]) + 1 + start),
    )


def _over_leader(program: Program, array: Frames) -> Program:
    """The program, its span moved over leader frames too few to be told from data."""
    start, stop = program.span
    span = Span(_moved(array, start - 1, -1) + 1, _moved(array, stop, 1))
    return replace(program, span=span)


def _moved(array: Frames, first: int, step: int) -> int:
    """The first frame from `first` on, in that direction, behind a short run of leader frames."""
    at = first
    while 0 <= at < array.size and array[at] == LEADER:
        at += step
        if abs(at - first) >= _SHORT_LEADER:
            return first
    return at
