"""Vocabularies: the words that records may use, and keeping them."""

from dataclasses import dataclass
from typing import ClassVar, Final

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import terms, vocabularies
from server.catalog.errors import NotFound
from server.catalog.terms import ABOUT, NewTerm, TermChange, TermRecord, Vocabulary
from server.catalog.work import Role, Work
from server.web.context import Filled, PageContext
from server.web.forms import Form, FormDep
from server.web.tape_forms import revision_of
from server.web.visit import VisitDep

router = APIRouter(prefix="/vocabularies")

USED_IN: Final = {
    Vocabulary.LANGUAGE: "/programs?language=",
    Vocabulary.MACHINE: "/programs?machine=",
    Vocabulary.PERIPHERAL: "/programs?peripheral=",
    Vocabulary.MEDIUM: "/tapes?medium=",
}
"""Where the records that use a word are listed, for those vocabularies that have such a list."""


@dataclass(frozen=True, slots=True)
class Shown:
    """A vocabulary in the list of them: its name, what it is called, and for what."""

    name: Vocabulary
    title: str
    about: str
    words: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class VocabulariesPage(PageContext):
    """All vocabularies."""

    template: ClassVar[str] = "pages/vocabularies.html"
    title: str = "Vocabularies"
    shown: tuple[Shown, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class VocabularyPage(PageContext):
    """One vocabulary, and the form of a new word."""

    template: ClassVar[str] = "pages/vocabulary.html"
    name: Vocabulary
    about: str
    words: tuple[TermRecord, ...]
    used_in: str
    form: Filled

    @classmethod
    def of(cls, work: Work, name: Vocabulary, form: Filled) -> "VocabularyPage":
        """The page of a vocabulary."""
        title, about = ABOUT[name]
        return cls(
            title=title,
            name=name,
            about=about,
            words=vocabularies.words(work, name),
            used_in=USED_IN.get(name, ""),
            form=form,
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class WordPage(PageContext):
    """The forms that change one word."""

    template: ClassVar[str] = "pages/vocabulary_word.html"
    name: Vocabulary
    word: TermRecord
    others: tuple[str, ...]
    form: Filled

    @classmethod
    def of(
        cls, work: Work, name: Vocabulary, term_id: int, form: Filled | None = None
    ) -> "WordPage":
        """The page of a word, its form filled as it stands or as it was sent."""
        work.actor.require(Role.ARCHIVIST)
        word = vocabularies.get(work, name, term_id)
        held = {"word": word.word, "meaning": word.meaning, "revision": word.revision}
        return cls(
            title=f"{ABOUT[name][0]}: {word.word}",
            name=name,
            word=word,
            others=tuple(each for each in terms.words(work, name) if each != word.word),
            form=(form or Filled()).over(held),
        )


@router.get("")
def browse(visit: VisitDep) -> Response:
    """All vocabularies."""
    with visit.work() as work:
        shown = tuple(Shown(each, *ABOUT[each], terms.words(work, each)) for each in Vocabulary)
        return visit.page(VocabulariesPage(shown=shown))


@router.get("/{name}")
def show(visit: VisitDep, name: str) -> Response:
    """One vocabulary."""
    with visit.work() as work:
        return visit.page(VocabularyPage.of(work, terms.of_name(name), Filled()))


@router.post("/{name}")
def add(visit: VisitDep, name: str, form: FormDep) -> Response:
    """Add a word."""
    vocabulary = terms.of_name(name)

    def act(work: Work) -> Response:
        vocabularies.add(work, vocabulary, NewTerm.of(form.only(("word", "meaning"))))
        return visit.redirect(f"/vocabularies/{vocabulary}")

    return visit.submit(form, act, lambda work, filled: VocabularyPage.of(work, vocabulary, filled))


@router.get("/{name}/words/{term_id}")
def edit(visit: VisitDep, name: str, term_id: int) -> Response:
    """The forms that change a word."""
    with visit.work() as work:
        return visit.page(WordPage.of(work, terms.of_name(name), term_id))


@router.post("/{name}/words/{term_id}")
def change(visit: VisitDep, name: str, term_id: int, form: FormDep) -> Response:
    """Rename, explain, merge or retire a word, or bring it back."""
    vocabulary = terms.of_name(name)

    def act(work: Work) -> Response:
        vocabularies.change(work, vocabulary, term_id, _change(form), revision_of(form))
        return visit.redirect(f"/vocabularies/{vocabulary}")

    return visit.submit(
        form, act, lambda work, filled: WordPage.of(work, vocabulary, term_id, filled)
    )


def _change(form: Form) -> TermChange:
    """What the button that was pressed asks for.

    Raises:
        NotFound: there is no such button.
    """
    match form.text("do"):
        case "save":
            return TermChange.of(form.only(("word", "meaning")))
        case "merge":
            return TermChange.of(form.only(("merged_into",)))
        case "retire" | "bring-back" as what:
            return TermChange(retired=what == "retire")
        case other:
            raise NotFound(
                f"Nothing is called {other[:40]} here.",
                where="do",
                mend="Use the page of the word.",
            )
