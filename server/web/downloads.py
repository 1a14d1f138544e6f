"""Images to punch: verified ones at once, others only after a plain warning was confirmed."""

from dataclasses import dataclass
from typing import ClassVar

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import downloads, images
from server.catalog.errors import NotVerified
from server.catalog.records import Download, ImageRecord
from server.catalog.work import Work
from server.delivery.frames import ASK_AGAIN, Frames, deliver
from server.statuses import problem_of
from server.web.context import Filled, PageContext
from server.web.forms import FormDep
from server.web.visit import Visit, VisitDep

router = APIRouter()

AGREED = "yes"
PRIVATE = "no-store"


@dataclass(frozen=True, kw_only=True, slots=True)
class UnverifiedPage(PageContext):
    """The warning before an unverified download."""

    template: ClassVar[str] = "pages/unverified.html"
    image: ImageRecord
    form: Filled

    @classmethod
    def of(cls, work: Work, sha256: str, form: Filled | None = None) -> "UnverifiedPage":
        """The warning about the image with this digest."""
        image = images.get(work, sha256)
        return cls(title=f"{image.title} is not verified", image=image, form=form or Filled())


def sent(visit: Visit, download: Download, cache: str) -> Response:
    """The answer that saves the frames as a file."""
    return deliver(Frames.of(download), visit.request.headers, cache=cache)


@router.get("/images/{sha256}/download")
def download(visit: VisitDep, sha256: str) -> Response:
    """The image if it is verified, else the warning."""
    try:
        with visit.work() as work:
            return sent(visit, downloads.download(work, sha256), ASK_AGAIN)
    except NotVerified:
        with visit.work() as work:
            return visit.page(UnverifiedPage.of(work, sha256))


@router.post("/images/{sha256}/download")
def download_unverified(visit: VisitDep, sha256: str, form: FormDep) -> Response:
    """The image, once the visitor has said that nothing vouches for it."""
    agreed = form.text("acknowledged") == AGREED
    try:
        with visit.change(form) as work:
            return sent(visit, downloads.download(work, sha256, agreed), PRIVATE)
    except NotVerified as refusal:
        errors = {"acknowledged": "Tick this box to have the image all the same."}
        with visit.work() as work:
            page = UnverifiedPage.of(work, sha256, Filled({}, errors, refusal))
            return visit.page(page, status=problem_of(refusal).status)
