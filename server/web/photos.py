"""Photos of tapes: added, shown, described in words, taken away."""

from dataclasses import dataclass
from typing import ClassVar, Final

from fastapi import APIRouter, Depends
from starlette.responses import Response

from server.catalog import photos, tapes
from server.catalog.errors import refused
from server.catalog.photos import PhotoRecord, Sent
from server.catalog.pixels import KEPT_TYPE, Rewritten
from server.catalog.tape_values import TapeRecord
from server.catalog.work import Work
from server.web.context import Filled, PageContext
from server.web.forms import Form, FormDep, PhotosDep
from server.web.upload import volunteer_first
from server.web.visit import Visit, VisitDep

router = APIRouter()

KEPT: Final = "private, max-age=3600"
"""A photo never changes, but it may be taken away, or closed to some."""


@dataclass(frozen=True, kw_only=True, slots=True)
class PhotosPage(PageContext):
    """The photos of a tape, and the form that adds some."""

    template: ClassVar[str] = "pages/photos.html"
    tape: TapeRecord
    photos: tuple[PhotoRecord, ...]
    form: Filled

    @classmethod
    def of(cls, work: Work, number: str, form: Filled | None = None) -> "PhotosPage":
        """The page of the tape with this accession number."""
        return cls(
            title=f"Photos of tape {number}",
            tape=tapes.get(work, number),
            photos=photos.of_tape(work, number),
            form=form or Filled(),
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class PhotoPage(PageContext):
    """One photo, as large as it is kept."""

    template: ClassVar[str] = "pages/photo.html"
    photo: PhotoRecord
    tape: TapeRecord
    may_remove: bool
    form: Filled

    @classmethod
    def of(cls, work: Work, photo_id: int, form: Filled | None = None) -> "PhotoPage":
        """The page of the photo of that number."""
        photo = photos.get(work, photo_id)
        return cls(
            title=f"Photo {photo.id} of tape {photo.tape}",
            photo=photo,
            tape=tapes.get(work, photo.tape),
            may_remove=photos.may_remove(work, photo),
            form=form or Filled({"shows": photo.shows}),
        )


class Taken:
    """The photos in a form; `read` decodes them, which is slow, and `all` has them after it."""

    def __init__(self, visit: Visit, form: Form) -> None:
        self.all: tuple[Rewritten, ...] = ()
        self._limit = visit.settings.photo_limit_bytes
        self._form = form

    def read(self) -> None:
        """Decode them.

        Raises:
            Invalid: one is no photo or too large, or there are too many.
        """
        limit = self._limit
        files = self._form.files
        sent = [Sent(each.filename or "photo", each.file.read(limit + 1)) for each in files]
        self.all = photos.rewritten(sent, limit)


@router.get("/tapes/{number}/photos")
def browse(visit: VisitDep, number: str) -> Response:
    """The photos of a tape."""
    with visit.work() as work:
        return visit.page(PhotosPage.of(work, number))


@router.post("/tapes/{number}/photos", dependencies=[Depends(volunteer_first)])
def add(visit: VisitDep, number: str, form: PhotosDep) -> Response:
    """Add photos of a tape."""
    taken = Taken(visit, form)

    def act(work: Work) -> Response:
        if not taken.all:
            raise refused("photos", "No photo was chosen.", "Choose one or more.")
        photos.add(work, number, taken.all, form.text("shows"))
        return visit.redirect(f"/tapes/{number}/photos")

    return visit.submit(
        form, act, lambda work, filled: PhotosPage.of(work, number, filled), first=taken.read
    )


@router.get("/photos/{photo_id}")
def show(visit: VisitDep, photo_id: int) -> Response:
    """One photo."""
    with visit.work() as work:
        return visit.page(PhotoPage.of(work, photo_id))


@router.get("/photos/{photo_id}/whole.jpg")
def whole(visit: VisitDep, photo_id: int) -> Response:
    """The photo itself."""
    with visit.work() as work:
        return _sent(photos.whole(work, photo_id))


@router.get("/photos/{photo_id}/small.jpg")
def small(visit: VisitDep, photo_id: int) -> Response:
    """The photo made small."""
    with visit.work() as work:
        return _sent(photos.small(work, photo_id))


def _sent(data: bytes) -> Response:
    return Response(data, media_type=KEPT_TYPE, headers={"Cache-Control": KEPT})


@router.post("/photos/{photo_id}")
def describe(visit: VisitDep, photo_id: int, form: FormDep) -> Response:
    """Say what a photo shows."""

    def act(work: Work) -> Response:
        photos.describe(work, photo_id, form.text("shows"))
        return visit.redirect(f"/photos/{photo_id}")

    return visit.submit(form, act, lambda work, filled: PhotoPage.of(work, photo_id, filled))


@router.post("/photos/{photo_id}/remove")
def remove(visit: VisitDep, photo_id: int, form: FormDep) -> Response:
    """Take a photo away."""
    with visit.change(form) as work:
        photo = photos.remove(work, photo_id)
        return visit.redirect(f"/tapes/{photo.tape}/photos")
