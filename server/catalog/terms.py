"""Controlled vocabularies: which words records may use, and what became of a word.

Records hold the word itself. A word that was renamed or merged leads to the one that took its
place, so that whoever still writes it is understood.
"""

import difflib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from sqlalchemy import select
from sqlmodel import col

from server.catalog.errors import Invalid, NotFound, refused
from server.catalog.inputs import Input, RequiredName, Text
from server.catalog.vocabulary import Medium
from server.catalog.work import Work
from server.store.terms import Term


class Vocabulary(StrEnum):
    """Of what the words speak."""

    LANGUAGE = "language"
    MACHINE = "machine"
    PERIPHERAL = "peripheral"
    MEDIUM = "medium"
    COLOUR = "colour"


ABOUT: Final = MappingProxyType(
    {
        Vocabulary.LANGUAGE: ("Languages", "What a program is written in."),
        Vocabulary.MACHINE: ("Machine classes", "What a program runs on."),
        Vocabulary.PERIPHERAL: ("Peripherals", "What must be connected to the machine."),
        Vocabulary.MEDIUM: ("Media", "What a tape is made of."),
        Vocabulary.COLOUR: ("Colours", "What colour a tape has."),
    }
)
"""What each vocabulary is called, and what it is for."""

FIXED: Final = MappingProxyType(
    {
        Vocabulary.MEDIUM: frozenset(
            (
                Medium.UNKNOWN,
                Medium.PAPER,
                Medium.OILED_PAPER,
                Medium.POLYESTER,
                Medium.FOIL_LAMINATE,
            )
        )
    }
)
"""Words that stay as they are, for a default or a caution hangs on them."""

_OFFERED: Final = 3
_ALIKE: Final = 0.5


class NewTerm(Input):
    """A word to be added, and what it means."""

    word: RequiredName
    meaning: Text = ""


class TermChange(Input):
    """What to change of a word: only what is given.

    A new `word` renames it; `merged_into` names a word that takes its place everywhere; one that
    is `retired` stays where it stands, and is given to nothing new.
    """

    word: RequiredName | None = None
    meaning: Text | None = None
    merged_into: RequiredName | None = None
    retired: bool | None = None


@dataclass(frozen=True, slots=True)
class TermRecord:
    """A word: what it means, how many records use it, and what became of it."""

    id: int
    word: str
    meaning: str
    uses: int
    retired: datetime | None
    merged_into: str | None
    fixed: bool
    revision: int

    @property
    def stands(self) -> bool:
        """Whether records may still be given this word."""
        return self.retired is None and self.merged_into is None


def fold(word: str) -> str:
    """The word as words are compared: capitals and the number of spaces do not count."""
    return " ".join(word.split()).lower()


def of_name(name: str) -> Vocabulary:
    """The vocabulary of that name.

    Raises:
        NotFound: there is none.
    """
    try:
        return Vocabulary(name)
    except ValueError:
        raise NotFound(
            f"There is no vocabulary {name[:40]}.",
            where=name[:40],
            mend=f"There are: {', '.join(Vocabulary)}.",
        ) from None


def words(work: Work, vocabulary: Vocabulary) -> tuple[str, ...]:
    """The words that records may be given, in their order."""
    rows = work.session.scalars(
        select(col(Term.word))
        .where(
            col(Term.vocabulary) == vocabulary,
            col(Term.retired_at).is_(None),
            col(Term.merged_into_id).is_(None),
        )
        .order_by(col(Term.folded))
    )
    return tuple(rows)


def find(work: Work, vocabulary: Vocabulary, word: str) -> Term | None:
    """The row of a word, whatever became of it; None where there is none."""
    return work.session.scalar(
        select(Term).where(col(Term.vocabulary) == vocabulary, col(Term.folded) == fold(word))
    )


def term_of(work: Work, vocabulary: Vocabulary, word: str) -> Term:
    """The row of a word, whatever became of it.

    Raises:
        NotFound: the vocabulary has no such word.
    """
    found = find(work, vocabulary, word)
    if found is None:
        raise NotFound(
            f"The vocabulary {vocabulary} has no word {word[:80]}.",
            where=word[:80],
            mend="Look at the words of the vocabulary.",
        )
    return found


def followed(work: Work, term: Term) -> Term:
    """The word that took the place of this one, through however many renamings."""
    while term.merged_into_id is not None:
        term = work.session.get_one(Term, term.merged_into_id)
    return term


def accepted(
    work: Work, vocabulary: Vocabulary, word: str, *, field: str, held: Sequence[str] = ()
) -> str:
    """The word as the vocabulary writes it; what a record has `held` already it may keep.

    Raises:
        Invalid: the vocabulary has no such word, or it is retired.
    """
    if not word or word in held:
        return word
    found = find(work, vocabulary, word)
    if found is None:
        raise _unknown(work, vocabulary, word, field)
    term = followed(work, found)
    if term.retired_at is not None and term.word not in held:
        raise refused(
            field,
            f"“{term.word}” is retired from the vocabulary {vocabulary}",
            "Choose another word, or ask an archivist to bring it back.",
        )
    return term.word


def all_accepted(
    work: Work,
    vocabulary: Vocabulary,
    given: Sequence[str],
    *,
    field: str,
    held: Sequence[str] = (),
) -> list[str]:
    """As `accepted`, for several words; each stands once.

    Raises:
        Invalid: the vocabulary lacks one of them, or it is retired.
    """
    taken = [accepted(work, vocabulary, word, field=field, held=held) for word in given if word]
    return list(dict.fromkeys(taken))


def _unknown(work: Work, vocabulary: Vocabulary, word: str, field: str) -> Invalid:
    known = {fold(each): each for each in words(work, vocabulary)}
    near = difflib.get_close_matches(fold(word), known, _OFFERED, _ALIKE)
    hint = f"; alike are: {', '.join(known[each] for each in near)}" if near else ""
    return refused(
        field,
        f"“{word}” is no word of the vocabulary {vocabulary}{hint}",
        f"Choose one of its words; an archivist adds new ones at /vocabularies/{vocabulary}.",
    )
