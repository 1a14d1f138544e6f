"""Keeping vocabularies: words added, renamed, merged, retired, and what that does to records."""

from collections.abc import Collection, Mapping
from typing import Any

from sqlalchemy import select
from sqlmodel import col

from server.catalog import changes, events, program_records, term_uses
from server.catalog.errors import Conflict, Invalid, NotFound, refused
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import by_id, known
from server.catalog.terms import (
    FIXED,
    NewTerm,
    TermChange,
    TermRecord,
    Vocabulary,
    find,
    fold,
    followed,
)
from server.catalog.work import Role, Work
from server.store.programs import Program
from server.store.terms import Term


def words(work: Work, vocabulary: Vocabulary) -> tuple[TermRecord, ...]:
    """All words of a vocabulary: those that stand, then those that are retired or were merged."""
    counts = term_uses.counts(work, vocabulary)
    rows = work.session.scalars(
        select(Term).where(col(Term.vocabulary) == vocabulary).order_by(col(Term.folded))
    )
    told = [_record(work, row, counts) for row in rows]
    return tuple(sorted(told, key=lambda each: not each.stands))


def get(work: Work, vocabulary: Vocabulary, term_id: int) -> TermRecord:
    """A word of a vocabulary.

    Raises:
        NotFound: it has none of that number.
    """
    term = _term(work, vocabulary, term_id)
    return _record(work, term, term_uses.counts(work, vocabulary))


def add(
    work: Work,
    vocabulary: Vocabulary,
    new: NewTerm,
    *,
    why: str = "",
    corrects: int | None = None,
) -> TermRecord:
    """Add a word; `why` stands in the log, and `corrects` is the entry that this undoes.

    Raises:
        Conflict: the vocabulary has it already.
    """
    work.actor.require(Role.ARCHIVIST)
    word = " ".join(new.word.split())
    _require_new(work, vocabulary, word)
    term = _create(work, vocabulary, word, new.meaning)
    detail = _because(f"“{word}” added", why)
    log(work, vocabulary, detail, {"action": "add word", "word": word}, corrects)
    return _record(work, term, {})


def change(
    work: Work,
    vocabulary: Vocabulary,
    term_id: int,
    change: TermChange,
    revision: int | None = None,
) -> TermRecord:
    """Change what is given of a word, if it is still at `revision`; records follow.

    Raises:
        NotFound: the vocabulary has no word of that number.
        Conflict: somebody changed it meanwhile, or the new word is taken.
        Invalid: the word stays as it is, or there is none to merge it into.
    """
    work.actor.require(Role.ARCHIVIST)
    term = _term(work, vocabulary, term_id, to_change=True)
    changes.require_revision(term, revision, f"“{term.word}”")
    if change.meaning is not None and change.meaning != term.meaning:
        set_meaning(work, vocabulary, term, change.meaning)
    if change.retired is not None and change.retired != (term.retired_at is not None):
        set_retired(work, vocabulary, term, retired=change.retired)
    if change.word is not None and change.word != term.word:
        term = rename(work, vocabulary, term, " ".join(change.word.split()))
    if change.merged_into is not None:
        merge(work, vocabulary, term, _target(work, vocabulary, term, change.merged_into))
    return get(work, vocabulary, known(term.id))


def _because(detail: str, why: str) -> str:
    return f"{detail}: {why}" if why else detail


def set_meaning(
    work: Work,
    vocabulary: Vocabulary,
    term: Term,
    meaning: str,
    corrects: int | None = None,
    why: str = "",
) -> None:
    """Say what a word means."""
    facts = {
        "action": "change meaning",
        "word": term.word,
        "before": {"meaning": term.meaning},
        "after": {"meaning": meaning},
    }
    term.meaning = meaning
    touch(work, term)
    log(work, vocabulary, _because(f"what “{term.word}” means", why), facts, corrects)


def set_retired(
    work: Work,
    vocabulary: Vocabulary,
    term: Term,
    *,
    retired: bool,
    corrects: int | None = None,
    why: str = "",
) -> None:
    """Retire a word, or bring it back.

    Raises:
        Invalid: it stays as it is, or was merged into another.
    """
    _require_free(vocabulary, term)
    term.retired_at = work.now if retired else None
    touch(work, term)
    action = "retire word" if retired else "bring word back"
    detail = _because(f"“{term.word}” {'retired' if retired else 'brought back'}", why)
    log(work, vocabulary, detail, {"action": action, "word": term.word}, corrects)


def rename(
    work: Work,
    vocabulary: Vocabulary,
    term: Term,
    new: str,
    corrects: int | None = None,
    why: str = "",
) -> Term:
    """Call a word otherwise, in every record; gives the row of the new word.

    Raises:
        Conflict: the new word is taken.
        Invalid: the word stays as it is, or was merged into another.
    """
    _require_free(vocabulary, term)
    old = term.word
    if fold(new) == fold(old):
        term.word = new
        taken = term
    else:
        taken = _renamed(work, vocabulary, term, new)
    touch(work, taken)
    facts = {"action": "rename word", "word": old, "new": new}
    detail = _because(f"“{old}” renamed “{new}”", why)
    put(work, vocabulary, facts, detail, corrects=corrects)
    return taken


def _renamed(work: Work, vocabulary: Vocabulary, term: Term, new: str) -> Term:
    """The row of the new word, to which that of the old one leads."""
    held = find(work, vocabulary, new)
    if held is None:
        held = _create(work, vocabulary, new, term.meaning)
        held.retired_at = term.retired_at
    elif held.merged_into_id == term.id:
        # It was called so before.
        held.merged_into_id, held.word, held.meaning = None, new, term.meaning
        held.retired_at = term.retired_at
    else:
        raise _taken(new, "Merge the one word into the other instead.")
    term.merged_into_id = held.id
    touch(work, term)
    return held


def merge(
    work: Work,
    vocabulary: Vocabulary,
    term: Term,
    into: Term,
    corrects: int | None = None,
    why: str = "",
) -> None:
    """Let another word take the place of a word, in every record.

    Raises:
        Invalid: the word stays as it is, or was merged already.
    """
    _require_free(vocabulary, term)
    term.merged_into_id = into.id
    touch(work, term)
    facts = {"action": "merge words", "word": term.word, "new": into.word}
    detail = _because(f"“{term.word}” merged into “{into.word}”", why)
    put(work, vocabulary, facts, detail, corrects=corrects)


def part(
    work: Work,
    vocabulary: Vocabulary,
    term: Term,
    other: str,
    *,
    only: Mapping[str, Collection[str]],
    beside: Collection[str],
    why: str,
    corrects: int | None,
) -> None:
    """Let a word that was merged into another be one of its own again, in the records of `only`.

    Those of the keys `beside` had both, and have both again.
    """
    term.merged_into_id = None
    touch(work, term)
    facts = {"action": "part words", "word": other, "new": term.word}
    detail = f"“{term.word}” parted from “{other}”: {why}"
    put(work, vocabulary, facts, detail, only=only, beside=beside, corrects=corrects)


def _target(work: Work, vocabulary: Vocabulary, term: Term, word: str) -> Term:
    found = find(work, vocabulary, word)
    into = None if found is None else followed(work, found)
    if into is None or into.id == term.id or into.retired_at is not None:
        raise refused(
            "merged_into",
            f"“{word}” cannot take the place of “{term.word}”",
            "Name another word of this vocabulary that is in use.",
        )
    return into


def log(
    work: Work,
    vocabulary: Vocabulary,
    detail: str,
    facts: Mapping[str, Any],
    corrects: int | None = None,
) -> int:
    """Write down what became of a vocabulary; gives the number of the entry."""
    kind = EventType.MODIFICATION
    entry = events.record(
        work, kind, ObjectKind.VOCABULARY, vocabulary, detail=detail, facts=facts, corrects=corrects
    )
    work.session.flush()
    return known(entry.id)


def touch(work: Work, term: Term) -> None:
    """Count one more revision of a word."""
    term.revision += 1
    term.updated_at = work.now
    work.session.flush()


def put(
    work: Work,
    vocabulary: Vocabulary,
    facts: Mapping[str, str],
    detail: str,
    *,
    only: Mapping[str, Collection[str]] | None = None,
    beside: Collection[str] = (),
    corrects: int | None = None,
) -> None:
    """Put the word `new` of the facts in the place of `word` in records, and log all of it."""
    done = term_uses.put(work, vocabulary, facts["word"], facts["new"], only, beside)
    touched = term_uses.touched(done)
    told = {**facts, "touched": touched, "had_both": term_uses.had(done, facts["new"])}
    entry = log(work, vocabulary, detail, told, corrects)
    term_uses.log(work, done, detail, entry)
    index_again(work, touched)


def index_again(work: Work, touched: Mapping[str, Collection[str]]) -> None:
    """Make programs findable by their new words."""
    for name, keys in touched.items():
        if name.startswith(f"{ObjectKind.PROGRAM}."):
            for key in keys:
                program_records.index(work, work.session.get_one(Program, int(key)))


def _create(work: Work, vocabulary: Vocabulary, word: str, meaning: str) -> Term:
    term = Term(
        vocabulary=vocabulary,
        word=word,
        folded=fold(word),
        meaning=meaning,
        created_at=work.now,
        updated_at=work.now,
    )
    work.session.add(term)
    work.session.flush()
    return term


def _require_new(work: Work, vocabulary: Vocabulary, word: str) -> None:
    held = find(work, vocabulary, word)
    if held is None:
        return
    present = followed(work, held)
    if present is not held:
        raise _taken(word, f"It leads to “{present.word}”; use that.")
    raise _taken(word, "Bring it back, if it is retired.")


def _require_free(vocabulary: Vocabulary, term: Term) -> None:
    if term.word in FIXED.get(vocabulary, frozenset()):
        raise Invalid(
            f"“{term.word}” stays as it is.",
            where=term.word,
            mend="A default or a caution hangs on this word. Add another one beside it.",
        )
    if term.merged_into_id is not None:
        raise Invalid(
            f"“{term.word}” was renamed or merged already.",
            where=term.word,
            mend="Change the word that took its place, or undo that.",
        )


def _taken(word: str, mend: str) -> Conflict:
    return Conflict(
        f"“{word}” is a word of this vocabulary already.",
        where=word,
        mend=mend,
        fields={"word": "this word is taken"},
    )


def _term(work: Work, vocabulary: Vocabulary, term_id: int, *, to_change: bool = False) -> Term:
    found = by_id(work, Term, term_id, to_change=to_change)
    if found is None or found.vocabulary != vocabulary:
        raise NotFound(
            f"The vocabulary {vocabulary} has no word of number {term_id}.",
            where=str(term_id),
            mend="Look at the words of the vocabulary.",
        )
    return found


def _record(work: Work, term: Term, counts: Mapping[str, int]) -> TermRecord:
    present = followed(work, term)
    return TermRecord(
        id=known(term.id),
        word=term.word,
        meaning=term.meaning,
        uses=counts.get(term.word, 0),
        retired=term.retired_at,
        merged_into=None if present is term else present.word,
        fixed=term.word in FIXED.get(Vocabulary(term.vocabulary), frozenset()),
        revision=term.revision,
    )
