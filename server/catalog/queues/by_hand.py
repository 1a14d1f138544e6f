"""What people put on their lists without any queue: it stays until they take it off."""

from typing import Final

from sqlalchemy import select
from sqlmodel import col

from server.catalog.narrowing import AnySelect
from server.catalog.queues.passes import tapes
from server.catalog.queues.queue import About, Asked, Queue, Step
from server.catalog.work import Role
from server.store.images import ImageRow


def _any_tape(asked: Asked) -> AnySelect:
    del asked
    return tapes()


def _any_image(asked: Asked) -> AnySelect:
    del asked
    return select(col(ImageRow.id)).order_by(col(ImageRow.id))


TAPES_BY_HAND: Final = Queue(
    name="tapes-by-hand",
    title="Tapes put on by hand",
    meaning="Tapes that you put on your list from their own pages.",
    todo="Take them off when you are done.",
    well_done="",
    role=Role.VOLUNTEER,
    about=About.TAPE,
    asks=_any_tape,
    steps=(Step("Look at it", "/tapes/{tape}", Role.VISITOR),),
)

IMAGES_BY_HAND: Final = Queue(
    name="images-by-hand",
    title="Images put on by hand",
    meaning="Images that you put on your list from their own pages.",
    todo="Take them off when you are done.",
    well_done="",
    role=Role.VOLUNTEER,
    about=About.IMAGE,
    asks=_any_image,
    steps=(Step("Look at it", "/images/{image}", Role.VISITOR),),
)
