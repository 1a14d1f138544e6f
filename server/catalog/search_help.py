"""How to go on from a search that found nothing: another spelling, near titles, fewer limits."""

from collections.abc import Mapping, Sequence
from itertools import islice
from typing import Final

from rapidfuzz.distance import OSA
from sqlalchemy import select
from sqlmodel import col

from server.catalog.search_values import SearchHelp, SearchQuery, Titled
from server.catalog.work import Work
from server.store import spelling
from server.store.programs import Program
from server.store.search import fold, newest, record_of
from server.store.tapes import Tape
from server.store.texts import RECORDS

NEAR_TITLES: Final = 5
"""Titles that are offered."""

LEAST_SIMILARITY: Final = 0.2
"""The share of runs of three letters that a word and its better spelling have in common."""

LETTERS_AN_EDIT: Final = 3
"""One wrong letter is forgiven for so many that a word has; one at least."""


def offer(work: Work, query: SearchQuery, dropped: Mapping[str, int]) -> SearchHelp | None:
    """What may help with a search that found hardly anything; None where nothing does."""
    words = list(islice(spelling.words_of(fold(query.q)), 8))
    right = spelling.known(work.session, words) if words else set()
    mended = {
        word: _known(work, word, word if word in right else _mended(work, word)) for word in words
    }
    changed = any(better not in (None, word) for word, better in mended.items())
    known = [better for better in mended.values() if better]
    near = _near(work, known) if known else ()
    spelt = _respelt(query.q, mended) if changed and near else None
    if not near and not dropped:
        return None
    return SearchHelp(spelt, near, {name: count for name, count in dropped.items() if count})


def _mended(work: Work, word: str) -> str | None:
    """The known word that was most likely meant by one that is not known; None for none."""
    allowed = max(1, len(word) // LETTERS_AN_EDIT)
    best = min(
        (
            (OSA.distance(word, each.word, score_cutoff=allowed), -each.similarity, each.word)
            for each in spelling.near(work.session, word)
            if each.similarity >= LEAST_SIMILARITY
        ),
        default=(allowed + 1, 0.0, ""),
    )
    return best[2] if best[0] <= allowed else None


def _known(work: Work, word: str, mended: str | None) -> str | None:
    """The better spelling, if the actor sees any record that has it: words outlive records."""
    if mended in (None, word) or newest(work.session, RECORDS, [mended], 1):
        return mended
    return None


def _respelt(text: str, mended: Mapping[str, str | None]) -> str:
    respelt = fold(text)
    for word, better in mended.items():
        respelt = respelt.replace(word, better or word)
    return respelt


def _near(work: Work, words: Sequence[str]) -> tuple[Titled, ...]:
    """Records that have all of the words in one field, else those that have one of them."""
    keys = newest(work.session, RECORDS, words, NEAR_TITLES)
    for word in () if keys else sorted(words, key=len, reverse=True):
        keys += newest(work.session, RECORDS, [word], NEAR_TITLES - len(keys))
        if len(keys) >= NEAR_TITLES:
            break
    things = list(dict.fromkeys((kind, number) for kind, _, number in map(record_of, keys)))
    return tuple(_titled(work, *thing) for thing in things)


def _titled(work: Work, kind: str, number: int) -> Titled:
    if kind == "program":
        title = work.session.scalars(
            select(col(Program.title)).where(col(Program.id) == number)
        ).one()
        return Titled(title, program=number)
    title, accession = work.session.execute(
        select(col(Tape.title), col(Tape.accession_number)).where(col(Tape.id) == number)
    ).one()
    return Titled(title, accession=accession)
