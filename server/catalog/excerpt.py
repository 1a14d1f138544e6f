"""Excerpts: the part of a line that shows what was found, and which of it was looked for."""

from typing import Final, TypeAlias

from server.store.search import fold, readable

Pieces: TypeAlias = tuple[tuple[str, bool], ...]
"""A text cut in pieces, each with whether it is what was looked for."""

WIDEST: Final = 160
"""Characters of an excerpt: a long line still fits on two lines of a narrow screen."""

BEFORE: Final = 48
"""Characters shown before the first match of a line that is too long to show whole."""

ELLIPSIS: Final = "…"


def pieces(text: str, needle: str) -> Pieces:
    """The text around the first place where it holds `needle`, all such places in it marked.

    Whatever breaks a line in `text` becomes a space: an excerpt is one line.
    """
    shown, folded, folded_needle = one_line(text), fold(text), fold(needle)
    first = max(0, folded.find(folded_needle))
    start = 0 if len(shown) <= WIDEST else max(0, min(first - BEFORE, len(shown) - WIDEST))
    # A needle longer than the excerpt is shown whole rather than cut in its midst.
    stop = max(start + WIDEST, first + len(folded_needle))
    cut = list(_marked(shown[start:stop], folded[start:stop], folded_needle))
    if start:
        cut.insert(0, (ELLIPSIS, False))
    if stop < len(shown):
        cut.append((ELLIPSIS, False))
    return tuple(cut)


def one_line(text: str) -> str:
    """The text with a space for each control character and line end, as long as before."""
    text = readable(text)
    return text if text.isprintable() else "".join(map(_visible, text))


def _visible(character: str) -> str:
    return " " if character.isspace() or not character.isprintable() else character


def _marked(shown: str, folded: str, needle: str) -> list[tuple[str, bool]]:
    cut: list[tuple[str, bool]] = []
    at = 0
    while (place := folded.find(needle, at)) >= 0:
        cut.append((shown[at:place], False))
        at = place + len(needle)
        cut.append((shown[place:at], True))
    cut.append((shown[at:], False))
    return [(text, match) for text, match in cut if text]
