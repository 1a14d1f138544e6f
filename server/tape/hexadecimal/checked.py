"""Which stretches of frames are sound records, and which are none but should be."""

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from server.tape.dump import Integers
from server.tape.hexadecimal.records import Grammar, scan
from server.tape.image import Span
from server.tape.self_checking import Checked
from server.tape.view import View

_SPACE = 0x20


def checked_records(view: View, grammar: Grammar) -> Checked:
    """The records of `view` that pass, and what is printed between them.

    Before the first and behind the last only what begins like a record is a fault: a title may
    stand there.
    """
    characters = view.characters("iso-646")
    text, frames = characters.text, characters.frames
    found = scan(text, grammar)
    starts, stops = found.records.starts, found.records.stops
    loose = _loose(text, starts, stops)
    gaps = [0, *starts.tolist(), len(text) + 1]
    faults = []
    for number, (begin, end) in enumerate(pairwise(gaps)):
        first, last = loose.searchsorted((begin, end)).tolist()
        if first < last and (number in {0, len(starts)}):
            suspects = found.suspects[slice(*found.suspects.searchsorted((begin, end)))]
            first = int(loose.searchsorted(suspects[0])) if suspects.size else last
        if first < last:
            faults.append(Span(int(frames[loose[first]]), int(frames[loose[last - 1]]) + 1))
    sound = zip(frames[starts].tolist(), (frames[stops - 1] + 1).tolist(), strict=True)
    return Checked(tuple(Span(*each) for each in sound), tuple(faults))


def _loose(text: bytes, starts: Integers, stops: Integers) -> NDArray[np.intp]:
    """The printing characters that belong to no record that passes."""
    edges = np.zeros(len(text) + 1, np.int8)
    edges[starts] += 1
    edges[stops] -= 1
    inside = np.cumsum(edges[:-1], dtype=np.int8) > 0
    return np.flatnonzero((np.frombuffer(text, np.uint8) > _SPACE) & ~inside)
