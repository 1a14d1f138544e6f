"""The words that the forms of programs offer."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from server.catalog import terms
from server.catalog.terms import Vocabulary
from server.catalog.work import Work


@dataclass(frozen=True, slots=True)
class ProgramWords:
    """The words that the form offers: those of the vocabularies, and what the program has."""

    languages: tuple[str, ...]
    machines: tuple[str, ...]
    peripherals: tuple[str, ...]

    @classmethod
    def of(cls, work: Work, held: Mapping[str, Any]) -> "ProgramWords":
        """The words, with those that are in the form already."""

        def offered(vocabulary: Vocabulary, name: str) -> tuple[str, ...]:
            chosen = held.get(name) or ()
            several = (chosen,) if isinstance(chosen, str) else chosen
            return tuple(dict.fromkeys((*terms.words(work, vocabulary), *several)))

        return cls(
            offered(Vocabulary.LANGUAGE, "language"),
            offered(Vocabulary.MACHINE, "machine"),
            offered(Vocabulary.PERIPHERAL, "peripherals"),
        )


def known_language(work: Work, name: str | None) -> str:
    """The word of the vocabulary for the language that a decoding is in; empty where none is."""
    found = terms.find(work, Vocabulary.LANGUAGE, name) if name else None
    return terms.followed(work, found).word if found else ""
