"""The words of titles and origins, so that one written wrongly finds those it may stand for.

Words are far fewer than records, so that looking for near ones costs no more in a large library.
Both databases are asked the same in the same plain SQL.
"""

import re
from collections.abc import Collection, Iterable
from typing import Final, NamedTuple

from sqlalchemy import bindparam, func, select
from sqlalchemy.dialects.postgresql import insert as postgres_insert
from sqlalchemy.dialects.sqlite import insert as sqlite_insert
from sqlalchemy.orm import Session
from sqlmodel import Field, col

from server.store.row import BYTEWISE, Row

FIELDS: Final = ("title", "origin")
"""The fields of records whose words are learned."""

SHORTEST: Final = 3
"""Letters of a word that is worth mending."""

LONGEST: Final = 40
NEAREST: Final = 60
"""Words that share the most runs of three letters are looked at closely, so many of them."""


class Spelling(Row, table=True):
    """A word that some title or origin has or had."""

    __tablename__ = "spelling"

    word: str = Field(primary_key=True, sa_type=BYTEWISE)
    runs: int


class SpellingRun(Row, table=True):
    """A run of three letters in a word, its edges padded."""

    __tablename__ = "spelling_run"

    run: str = Field(primary_key=True, sa_type=BYTEWISE)
    word: str = Field(primary_key=True, sa_type=BYTEWISE)


class Near(NamedTuple):
    """A known word, and which share of the runs of either is common to both (0 to 1)."""

    word: str
    similarity: float


def words_of(text: str) -> list[str]:
    """The words of a folded text that are long enough, in its order."""
    return [
        word
        for word in re.findall(r"[^\W_]+", text)
        if SHORTEST <= len(word) <= LONGEST and not word.isdecimal()
    ]


def runs_of(word: str) -> set[str]:
    """The runs of three letters in a word, with two blanks before it and one behind it."""
    padded = f"  {word} "
    return {padded[at : at + 3] for at in range(len(padded) - 2)}


def learn(session: Session, texts: Iterable[str]) -> None:
    """Know the words of some folded texts from now on."""
    words = {word for text in texts for word in words_of(text)}
    if not words:
        return
    # In order, so that two who learn the same words at once do not wait for each other in a ring.
    new = sorted(words - known(session, words))
    if not new:
        return
    add = sqlite_insert if session.get_bind().dialect.name == "sqlite" else postgres_insert
    spellings = [{"word": word, "runs": len(runs_of(word))} for word in new]
    runs = [{"run": run, "word": word} for word in new for run in sorted(runs_of(word))]
    session.execute(add(Spelling).on_conflict_do_nothing(), spellings)
    session.execute(add(SpellingRun).on_conflict_do_nothing(), runs)


def known(session: Session, words: Collection[str]) -> set[str]:
    """Those of some folded words that are known."""
    return set(session.connection().scalars(_KNOWN, {"words": sorted(words)}))


_KNOWN = select(col(Spelling.word)).where(
    col(Spelling.word).in_(bindparam("words", expanding=True))
)


def near(session: Session, word: str) -> list[Near]:
    """Known words that share runs with a folded `word`, the most similar first."""
    asked = runs_of(word)
    rows = session.connection().execute(_NEAR, {"runs": sorted(asked)})
    found = [Near(other, common / (len(asked) + runs - common)) for other, common, runs in rows]
    return sorted(found, key=lambda each: (-each.similarity, each.word))


_NEAR = (
    select(col(SpellingRun.word), func.count(), col(Spelling.runs))
    .join(Spelling, col(Spelling.word) == col(SpellingRun.word))
    .where(col(SpellingRun.run).in_(bindparam("runs", expanding=True)))
    .group_by(col(SpellingRun.word), col(Spelling.runs))
    .order_by(func.count().desc(), col(SpellingRun.word))
    .limit(NEAREST)
)
