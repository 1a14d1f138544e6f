"""Which of the newest listings that hold a run hold it as a word, and so come first."""

from collections.abc import Collection
from typing import Final

from sqlalchemy import bindparam, func, select
from sqlalchemy.orm import Session

from server.store.search import fold
from server.store.texts import LISTINGS

RANKED: Final = 60
"""So many of the newest listings that hold a run are ranked."""

READ: Final = 32_768
"""So much of each listing is read to rank it; nearly every program is shorter."""


PLACES: Final = 50
"""So many places in a listing are looked at."""


_TEXTS = select(LISTINGS.key, func.substr(LISTINGS.body, 1, READ)).where(
    LISTINGS.key.in_(bindparam("image_ids", expanding=True))
)


def as_words(session: Session, image_ids: Collection[int], run: str) -> set[int]:
    """Those of the listings in which the run does not go on as a longer word at either end."""
    if not image_ids:
        return set()
    texts = session.connection().execute(_TEXTS, {"image_ids": sorted(image_ids)}).all()
    folded = fold(run)
    return {image_id for image_id, body in texts if _is_word(folded, body)}


def _is_word(run: str, text: str) -> bool:
    """Whether the run stands in the text with no letter or digit beside one of its own."""
    starts, ends = run[:1].isalnum(), run[-1:].isalnum()
    at = text.find(run)
    for _ in range(PLACES):
        if at < 0:
            return False
        before, after = text[at - 1 : at], text[at + len(run) : at + len(run) + 1]
        if not (starts and before.isalnum()) and not (ends and after.isalnum()):
            return True
        at = text.find(run, at + 1)
    return False
