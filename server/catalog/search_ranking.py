"""Which of the newest listings that hold a run hold it as a word, and so come first."""

import re
from collections.abc import Collection
from typing import Final

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.store.search import fold
from server.store.texts import LISTINGS

RANKED: Final = 60
"""So many of the newest listings that hold a run are ranked."""

READ: Final = 32_768
"""So much of each listing is read to rank it; nearly every program is shorter."""


def as_words(session: Session, image_ids: Collection[int], run: str) -> set[int]:
    """Those of the listings in which the run does not go on as a longer word at either end."""
    word = _word(fold(run))
    texts = session.execute(
        select(LISTINGS.key, func.substr(LISTINGS.body, 1, READ)).where(LISTINGS.key.in_(image_ids))
    )
    return {image_id for image_id, body in texts if word.search(body)}


def _word(run: str) -> re.Pattern[str]:
    """The run where no letter or digit stands beside one of its own."""
    before = r"(?<![^\W_])" if run[:1].isalnum() else ""
    after = r"(?![^\W_])" if run[-1:].isalnum() else ""
    return re.compile(before + re.escape(run) + after)
