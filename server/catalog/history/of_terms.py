"""Undoing what was done to the words of a vocabulary."""

from typing import Final

from sqlalchemy import select
from sqlmodel import col

from server.catalog import term_uses, vocabularies
from server.catalog.events import ObjectKind
from server.catalog.history.inverses import Inverse, why_undone
from server.catalog.history.of_changes import tape_by
from server.catalog.terms import NewTerm, Vocabulary, find
from server.catalog.work import Role, Work
from server.store.events import Event
from server.store.terms import Term


def _held(work: Work, event: Event, name: str = "word") -> tuple[Vocabulary, Term | None]:
    vocabulary = Vocabulary(event.object_key)
    return vocabulary, find(work, vocabulary, event.facts[name])


def _gone(event: Event, name: str = "word") -> str:
    return f"There is no word “{event.facts[name]}” any more."


def _add_refused(work: Work, event: Event) -> str:
    vocabulary, term = _held(work, event)
    if term is None:
        return _gone(event)
    uses = term_uses.counts(work, vocabulary).get(term.word, 0)
    if uses:
        return f"{uses} records use “{term.word}” by now. Merge it into another word instead."
    merged = select(col(Term.id)).where(col(Term.merged_into_id) == term.id)
    if term.merged_into_id is not None or work.session.scalar(merged.limit(1)) is not None:
        return f"“{term.word}” was merged or renamed since. Undo that first."
    return ""


def _remove(work: Work, event: Event, why: str) -> None:
    vocabulary, term = _held(work, event)
    assert term is not None
    facts = {"action": "remove word", "word": term.word, "meaning": term.meaning}
    detail = f"“{term.word}” taken out: {why_undone(event, why)}"
    work.session.delete(term)
    work.session.flush()
    vocabularies.log(work, vocabulary, detail, facts, event.id)


def _remove_refused(work: Work, event: Event) -> str:
    _, term = _held(work, event)
    return "" if term is None else f"“{term.word}” is a word again already."


def _put_in(work: Work, event: Event, why: str) -> None:
    new = NewTerm(word=event.facts["word"], meaning=event.facts["meaning"])
    vocabulary = Vocabulary(event.object_key)
    vocabularies.add(work, vocabulary, new, why=why_undone(event, why), corrects=event.id)


def _rename_refused(work: Work, event: Event) -> str:
    _, term = _held(work, event, "new")
    if term is None:
        return _gone(event, "new")
    if term.merged_into_id is not None or term.word != event.facts["new"]:
        return f"“{event.facts['new']}” was renamed or merged since. Undo that first."
    _, old = _held(work, event)
    if old is not None and term.id not in (old.id, old.merged_into_id):
        return f"“{old.word}” is another word by now."
    return ""


def _rename_back(work: Work, event: Event, why: str) -> None:
    vocabulary, term = _held(work, event, "new")
    assert term is not None
    vocabularies.rename(
        work, vocabulary, term, event.facts["word"], event.id, why_undone(event, why)
    )


def _merge_refused(work: Work, event: Event) -> str:
    _, into = _held(work, event, "new")
    _, term = _held(work, event)
    if into is None or term is None:
        return _gone(event, "new" if into is None else "word")
    if term.merged_into_id != into.id:
        return f"“{term.word}” was changed since. Undo that first."
    if into.merged_into_id is not None or into.word != event.facts["new"]:
        return f"“{event.facts['new']}” was renamed or merged since. Undo that first."
    return ""


def _part_again(work: Work, event: Event, why: str) -> None:
    """Records that were given another word since keep that: only those that have it go back."""
    vocabulary, term = _held(work, event)
    assert term is not None
    vocabularies.part(
        work,
        vocabulary,
        term,
        event.facts["new"],
        only={name: _present(work, name, keys) for name, keys in event.facts["touched"].items()},
        beside=event.facts.get("had_both", ()),
        why=why_undone(event, why),
        corrects=event.id,
    )


def _present(work: Work, name: str, keys: list[str]) -> list[str]:
    """The keys as they are now: a tape may have another number."""
    if not name.startswith(f"{ObjectKind.TAPE}."):
        return keys
    return [tape_by(work, key).accession_number for key in keys]


def _part_refused(work: Work, event: Event) -> str:
    _, into = _held(work, event)
    _, term = _held(work, event, "new")
    if into is None or term is None:
        return _gone(event, "word" if into is None else "new")
    if not (term.merged_into_id is None is into.merged_into_id):
        return f"“{term.word}” or “{into.word}” was renamed or merged since. Undo that first."
    return ""


def _merge_again(work: Work, event: Event, why: str) -> None:
    vocabulary, into = _held(work, event)
    _, term = _held(work, event, "new")
    assert term is not None
    assert into is not None
    vocabularies.merge(work, vocabulary, term, into, event.id, why_undone(event, why))


def _retire_refused(work: Work, event: Event) -> str:
    _, term = _held(work, event)
    if term is None:
        return _gone(event)
    retired = event.facts["action"] == "retire word"
    if term.merged_into_id is not None or retired is (term.retired_at is None):
        return f"“{term.word}” was changed since. Undo that first."
    return ""


def _turn(work: Work, event: Event, why: str) -> None:
    vocabulary, term = _held(work, event)
    assert term is not None
    retired = event.facts["action"] != "retire word"
    vocabularies.set_retired(
        work, vocabulary, term, retired=retired, corrects=event.id, why=why_undone(event, why)
    )


def _meaning_refused(work: Work, event: Event) -> str:
    _, term = _held(work, event)
    if term is None:
        return _gone(event)
    if term.meaning != event.facts["after"]["meaning"]:
        return f"What “{term.word}” means was said anew since. Undo that first."
    return ""


def _meaning_back(work: Work, event: Event, why: str) -> None:
    vocabulary, term = _held(work, event)
    assert term is not None
    meaning = event.facts["before"]["meaning"]
    vocabularies.set_meaning(work, vocabulary, term, meaning, event.id, why_undone(event, why))


ADDED: Final = Inverse(Role.ARCHIVIST, _add_refused, _remove)
REMOVED: Final = Inverse(Role.ARCHIVIST, _remove_refused, _put_in)
RENAMED: Final = Inverse(Role.ARCHIVIST, _rename_refused, _rename_back)
MERGED: Final = Inverse(Role.ARCHIVIST, _merge_refused, _part_again)
PARTED: Final = Inverse(Role.ARCHIVIST, _part_refused, _merge_again)
TURNED: Final = Inverse(Role.ARCHIVIST, _retire_refused, _turn)
MEANING: Final = Inverse(Role.ARCHIVIST, _meaning_refused, _meaning_back)
