"""Tapes prepared for the punch: the choices, what they come to, and the reels as files.

What is punched is what was looked at: the preview carries the choices that it was made of.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Final

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import images, preparing
from server.catalog.errors import ArchiveError, Invalid, NotVerified
from server.catalog.pictures import Pictured
from server.catalog.preparing import Choices, PreparationInput
from server.catalog.records import ImageRecord
from server.catalog.work import Work
from server.statuses import problem_of
from server.tape.estimate import RATES, seconds
from server.tape.formats import Formats
from server.tape.image import Orientation
from server.tape.preparing import Preparation, Prepared, Reel
from server.web.context import Filled, PageContext
from server.web.downloads import AGREED, PRIVATE, sent
from server.web.estimates import Estimates, estimates
from server.web.forms import Form, FormDep
from server.web.render import wants_fragment
from server.web.strips import BEFORE, FRAMES_A_ROW, MOST_LETTERS, Shown, shown_strip
from server.web.visit import Visit, VisitDep

router = APIRouter()

FIELDS: Final = tuple(PreparationInput.model_fields)

SELDOM: Final = frozenset(
    {
        "levels",
        "dialect",
        "program_name",
        "record_length",
        "load_address",
        "leave_entry_out",
        "accept_damage",
    }
)
"""Choices that stand folded away until one is made."""

FAST_PUNCH: Final = "70"
"""Frames a second (common practice, no source), until another rate is chosen."""

MOST_PICTURED: Final = 4
"""Reels that are shown as strips; the others are as these are."""

PREVIEW: Final = "preview"


@dataclass(frozen=True, slots=True)
class ReelShown:
    """A reel on the page: its size and time, and strips of its letters, beginning and end."""

    reel: Reel
    figures: Estimates
    seconds: float
    strips: tuple[tuple[str, Shown], ...]


@dataclass(frozen=True, slots=True)
class Preview:
    """What the choices come to; `choices` are they themselves, by field, to be sent again.

    Times are those at `rate` frames a second.
    """

    prepared: Prepared
    reels: tuple[ReelShown, ...]
    total: Estimates
    rate: float
    seconds: float
    choices: tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class PreparePage(PageContext):
    """The form, and the preview of what it asks for unless that was refused."""

    template: ClassVar[str] = "pages/prepare.html"
    image: ImageRecord
    form: Filled
    options: Choices
    preview: Preview | None
    more: bool
    rates: tuple[int, ...] = RATES

    @classmethod
    def of(
        cls, work: Work, sha256: str, asked: Mapping[str, str], formats: Formats
    ) -> "PreparePage":
        """The page for the choices `asked`; what is usual where there are none."""
        image = images.get(work, sha256)
        rate = asked.get("rate") or FAST_PUNCH
        chosen = {name: value for name, value in asked.items() if name in FIELDS}
        try:
            how = preparing.of_words(chosen) if chosen else preparing.usual(image, work.now.date())
            chosen = chosen or words_of(how)
            prepared = preparing.preview(work, sha256, how, formats)
        except Invalid as refusal:
            return cls._filled(image, chosen | {"rate": rate}, formats, refusal=refusal)
        preview = _preview(prepared, how, rate)
        chosen = words_of(how) | chosen
        wrong = {"rate": preview.total.wrong} if preview.total.wrong else {}
        return cls._filled(image, chosen | {"rate": rate}, formats, preview=preview, errors=wrong)

    @classmethod
    def refused(cls, work: Work, sha256: str, form: Filled, formats: Formats) -> "PreparePage":
        """The page again where a step from it was refused: the preview stays if there is one."""
        asked = {name: str(value) for name, value in form.values.items() if value}
        page = cls.of(work, sha256, asked, formats)
        if page.form.refusal:
            return page
        values = page.form.values | {"acknowledged": asked.get("acknowledged", "")}
        return cls(
            title=page.title,
            image=page.image,
            form=Filled(values, form.errors, form.refusal),
            options=page.options,
            preview=page.preview,
            more=page.more,
        )

    @classmethod
    def _filled(
        cls,
        image: ImageRecord,
        values: dict[str, Any],
        formats: Formats,
        *,
        preview: Preview | None = None,
        refusal: Invalid | None = None,
        errors: Mapping[str, str] | None = None,
    ) -> "PreparePage":
        told = dict(refusal.fields) if refusal else dict(errors or {})
        return cls(
            title=f"Prepare {image.title}",
            image=image,
            form=Filled(values, told, refusal),
            options=preparing.choices(image, formats),
            preview=preview,
            more=any(values.get(name) for name in SELDOM) or bool(SELDOM & told.keys()),
        )


def _preview(prepared: Prepared, how: Preparation, asked: str) -> Preview:
    total = estimates(prepared.frames, asked)
    rate = float(FAST_PUNCH if total.wrong else asked.replace(",", "."))
    return Preview(
        prepared=prepared,
        reels=tuple(_reel(each, rate) for each in prepared.reels),
        total=total,
        rate=rate,
        seconds=seconds(prepared.frames, rate),
        choices=tuple(words_of(how).items()),
    )


def _reel(reel: Reel, rate: float) -> ReelShown:
    frames = len(reel.frames)
    strips = _strips(reel) if reel.number <= MOST_PICTURED else ()
    return ReelShown(reel, estimates(frames), seconds(frames, rate), strips)


def _strips(reel: Reel) -> tuple[tuple[str, Shown], ...]:
    pictured = Pictured(reel.image, Orientation.AS_READ, ())
    spans = [("Where the content begins", (reel.data.start - BEFORE, FRAMES_A_ROW))]
    if reel.data.frames + BEFORE > FRAMES_A_ROW:
        last = reel.data.stop - FRAMES_A_ROW + 2 * BEFORE
        spans.append(("Where it ends", (last, FRAMES_A_ROW)))
    if reel.letters is not None:
        frames = min(reel.letters.frames + 2 * BEFORE, MOST_LETTERS)
        spans.insert(0, ("Letters in the leader", (reel.letters.start - BEFORE, frames)))
    return tuple((name, shown_strip(pictured.strip(*span))) for name, span in spans)


def words_of(how: Preparation) -> dict[str, str]:
    """The choices as a form sends them; one that is not made is left out."""
    words = preparing.as_words(how)
    if how.load_address is not None:
        # As people type an address, text is hexadecimal.
        words["load_address"] = f"{how.load_address:04X}"
    return {
        name: "yes" if value is True else str(value)
        for name, value in words.items()
        if value is not None and value is not False and value != ""
    }


def preparation_of(form: Form) -> Preparation:
    """The preparation that a sent form asks for.

    Raises:
        Invalid: a field is out of its bounds.
    """
    return preparing.of_words(form.only(FIELDS))


def again_of(visit: Visit, work: Work, sha256: str, filled: Filled) -> PreparePage:
    """The page of preparing, where a step from it was refused."""
    return PreparePage.refused(work, sha256, filled, visit.formats)


@router.get("/images/{sha256}/prepare")
def show(visit: VisitDep, sha256: str) -> Response:
    """The choices, and what they come to."""
    asked = {name: value for name, value in visit.request.query_params.items() if value}
    with visit.work() as work:
        page = PreparePage.of(work, sha256, asked, visit.formats)
    refusal = page.form.refusal
    status = problem_of(refusal).status if refusal else 200
    response = visit.page(page, block=PREVIEW, status=status)
    if wants_fragment(visit.request):
        # The address to share has no fields in it that were left empty.
        response.headers["HX-Push-Url"] = visit.shared
    return response


@router.post("/images/{sha256}/prepare/reels/{number}")
def reel(visit: VisitDep, sha256: str, number: int, form: FormDep) -> Response:
    """One reel as a file, once the visitor has said so where nothing vouches for the image."""
    agreed = form.text("acknowledged") == AGREED
    try:
        with visit.change(form) as work:
            taken = preparing.reel(
                work,
                sha256,
                preparation_of(form),
                number,
                acknowledged=agreed,
                formats=visit.formats,
            )
            return sent(visit, taken, PRIVATE)
    except (Invalid, NotVerified) as refusal:
        return _again(visit, sha256, form, refusal)


def _again(visit: Visit, sha256: str, form: Form, refusal: ArchiveError) -> Response:
    errors = dict(refusal.fields)
    if isinstance(refusal, NotVerified):
        errors["acknowledged"] = "Tick this box to have the reel all the same."
    with visit.work() as work:
        page = again_of(visit, work, sha256, Filled(form.kept(), errors, refusal))
    return visit.page(page, status=problem_of(refusal).status)
