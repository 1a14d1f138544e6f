"""Vocabularies: the words that records may use."""

from datetime import datetime
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Path, Request, Response
from pydantic import Field

from server.api.addresses import address
from server.api.caller import SIGNED_IN, CallerDep
from server.api.problems import responses
from server.api.revisions import (
    CHANGING,
    CREATING,
    IF_MATCH,
    READING,
    Revised,
    RevisionDep,
    marked,
)
from server.catalog import terms, vocabularies
from server.catalog.terms import ABOUT, NewTerm, TermChange, Vocabulary
from server.inspection import Fields

router = APIRouter(prefix="/vocabularies", tags=["vocabularies"])

Name = Annotated[str, Path(description="Name of the vocabulary, such as `language`.")]
WordId = Annotated[int, Path(description="Number of the word.", ge=1, le=2**31 - 1)]


class WordOut(Revised):
    """A word of a vocabulary."""

    id: int = Field(description="Number of the word.")
    word: str = Field(description="The word.")
    meaning: str = Field(description="What it means.")
    uses: int = Field(description="How many records use it.")
    retired: datetime | None = Field(description="When it was retired, in UTC, or null.")
    merged_into: str | None = Field(description="The word that took its place, or null.")
    fixed: bool = Field(description="Whether it stays as it is, for a caution hangs on it.")


class VocabularyOut(Fields):
    """A vocabulary with all its words, those that records may be given first."""

    name: Vocabulary = Field(description="Name of the vocabulary.")
    title: str = Field(description="What it is called.")
    about: str = Field(description="Of what its words speak.")
    words: list[WordOut] = Field(description="Its words.")


@router.get("", responses=responses())
def list_vocabularies(caller: CallerDep) -> list[VocabularyOut]:
    """All vocabularies with their words."""
    with caller.reading() as work:
        return [
            VocabularyOut(
                name=each,
                title=ABOUT[each][0],
                about=ABOUT[each][1],
                words=[WordOut.model_validate(word) for word in vocabularies.words(work, each)],
            )
            for each in Vocabulary
        ]


@router.post(
    "/{name}/words", status_code=HTTPStatus.CREATED, dependencies=SIGNED_IN, responses=CREATING
)
def add_word(
    name: Name, request: Request, response: Response, caller: CallerDep, new: NewTerm
) -> WordOut:
    """Add a word (archivists)."""
    vocabulary = terms.of_name(name)
    with caller.work() as work:
        word = WordOut.model_validate(vocabularies.add(work, vocabulary, new))
    where = address(request, "get_word", name=vocabulary, word_id=word.id)
    response.headers["Location"] = where
    return marked(response, word)


@router.get("/{name}/words/{word_id}", responses=READING | responses("not-found", "invalid"))
def get_word(name: Name, word_id: WordId, response: Response, caller: CallerDep) -> WordOut:
    """A word, how often it is used, and what became of it."""
    with caller.reading() as work:
        word = vocabularies.get(work, terms.of_name(name), word_id)
        return marked(response, WordOut.model_validate(word))


@router.patch(
    "/{name}/words/{word_id}",
    dependencies=SIGNED_IN,
    openapi_extra=IF_MATCH,
    responses=CHANGING,
)
def change_word(
    name: Name,
    word_id: WordId,
    response: Response,
    caller: CallerDep,
    revision: RevisionDep,
    change: TermChange,
) -> WordOut:
    """Rename, explain, merge or retire a word (archivists). Records that use it follow.

    The answer is the word as it is called now, which after a renaming is another number.
    """
    with caller.work() as work:
        word = vocabularies.change(work, terms.of_name(name), word_id, change, revision)
        return marked(response, WordOut.model_validate(word))
