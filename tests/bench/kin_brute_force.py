"""All kin of a tape, by comparing it with every tape that no bound proves to be no kin."""

import zlib
from typing import Any

import numpy as np
from rapidfuzz.distance import Levenshtein
from rapidfuzz.process import cdist

from server.catalog import kinship
from server.tape.changes import runs_of
from server.tape.kinship import NEAR_CUTOFF, Kind, compare
from server.tape.normal_form import NormalForm

Numbers = np.ndarray[Any, Any]


class Held:
    """What brute force needs of every tape: its content, and its lines or runs as numbers."""

    def __init__(self) -> None:
        self.forms: list[NormalForm] = []
        self.texts: list[str] = []
        self.textual: list[bool] = []
        self._items: list[Numbers] = []
        self._weights: list[Numbers] = []
        self._whole: tuple[Numbers, Numbers, Numbers] | None = None

    def add(self, held: NormalForm) -> None:
        items, weights = parts_of(held)
        self.forms.append(held)
        self.texts.append(whole_of(held))
        self.textual.append(held.textual)
        self._items.append(items)
        self._weights.append(weights)
        self._whole = None

    def __len__(self) -> int:
        return len(self.forms)

    def shares(self, items: Numbers) -> tuple[Numbers, Numbers]:
        """How much of each tape, by weight, is among `items`, and how much there is of it."""
        if self._whole is None:
            starts = np.cumsum([0, *map(len, self._items)])[:-1]
            self._whole = np.concatenate(self._items), np.concatenate(self._weights), starts
        all_items, weights, starts = self._whole
        shared = np.where(np.isin(all_items, items), weights, 0)
        return np.add.reduceat(shared, starts), np.add.reduceat(weights, starts)


def whole_of(held: NormalForm) -> str:
    return held.text if held.textual else held.binary.decode("latin-1")


def parts_of(held: NormalForm) -> tuple[Numbers, Numbers]:
    """The lines, or runs of frames, that a part must share, as numbers, and what each weighs."""
    if held.textual:
        items = [each.encode() for each in held.bodies] or [b""]
    else:
        items = runs_of(held.binary if held.memory else held.content, 16)
    return (
        np.array([zlib.crc32(item) for item in items], np.int64),
        np.array([len(item) + 1 for item in items], np.int64),
    )


def truth(query: NormalForm, held: Held) -> dict[int, Kind]:
    """The ids of all kin and how they are so, at most as many as are kept, the nearest first."""
    found = []
    for at in may_be_kin(query, held):
        told = compare(held.forms[at], query)
        if told.kind is not Kind.UNRELATED:
            found.append((kinship.nearness(kinship.Found(at + 1, told)), told.kind))
    return {nearness[2]: kind for nearness, kind in sorted(found)[: kinship.KEPT]}


def may_be_kin(query: NormalForm, held: Held) -> list[int]:
    """Whoever no bound proves to be no kin.

    Near: the edit distance itself, of every pair. Renumbered or part: a fifth of the shorter in
    common, line by line, less than `compare` asks for before it looks closer. Moved: memory as
    long. Frames: any run in common, or twelve frames that stand in both.
    """
    alike = cdist(
        [whole_of(query)],
        held.texts,
        scorer=Levenshtein.normalized_similarity,
        score_cutoff=NEAR_CUTOFF,
        workers=1,
    )[0]
    near = set(np.flatnonzero(alike >= NEAR_CUTOFF).tolist())
    items, weights = parts_of(query)
    shared, whole = held.shares(np.unique(items))
    same_sort = np.array(held.textual) == query.textual
    # Of runs, which the frames themselves end, a part of a few may have hardly any in common.
    enough = shared * 5 >= np.minimum(whole, weights.sum()) if query.textual else shared > 0
    near |= set(np.flatnonzero(same_sort & enough).tolist())
    if not query.textual:
        near |= standing_in(query, held, np.flatnonzero(same_sort).tolist())
    if not query.textual and query.memory:
        patterns = (
            at
            for at, each in enumerate(held.forms)
            if each.memory and len(each.binary) == len(query.binary)
        )
        near |= set(patterns)
    return sorted(near)


def standing_in(query: NormalForm, held: Held, places: list[int]) -> set[int]:
    """Those whose frames, or the middle of them, stand in the query as they are, or it in them."""

    def middle(data: bytes) -> bytes:
        start = len(data) // 2
        return data[start : start + 12]

    mine = query.binary
    return {
        at
        for at in places
        for data in (held.forms[at].binary,)
        if middle(mine) in data or middle(data) in mine
    }
