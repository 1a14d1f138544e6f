"""The people of the archive: who they are, what was done to their accounts, and invitations."""

from dataclasses import dataclass
from types import MappingProxyType
from typing import ClassVar, Final

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import accounts, invitations
from server.catalog.accounts import PersonRecord
from server.catalog.errors import Invalid
from server.catalog.events import EventRecord
from server.catalog.invitations import DAYS, InvitationRecord, Newcomer, NewInvitation
from server.catalog.work import Role, Work
from server.web.accounts import enter
from server.web.context import Filled, PageContext
from server.web.forms import Form, FormDep
from server.web.visit import VisitDep

router = APIRouter()

PROPOSED: Final = MappingProxyType({"days": DAYS, "role": Role.VOLUNTEER})
"""What stands in the forms of the page as they begin."""


@dataclass(frozen=True, kw_only=True, slots=True)
class PeoplePage(PageContext):
    """Everybody with an account, and the invitations; `link` is one just made, shown this once."""

    template: ClassVar[str] = "pages/people.html"
    title: str = "People"
    form: Filled
    people: tuple[PersonRecord, ...]
    invitations: tuple[InvitationRecord, ...]
    link: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class PersonPage(PageContext):
    """An account, and what was done to it."""

    template: ClassVar[str] = "pages/person.html"
    form: Filled
    person: PersonRecord
    history: tuple[EventRecord, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class InvitationPage(PageContext):
    """The form of somebody who was invited."""

    template: ClassVar[str] = "pages/invitation.html"
    title: str = "You are invited"
    form: Filled
    role: Role
    token: str


def _people_page(work: Work, form: Filled, link: str = "") -> PeoplePage:
    return PeoplePage(
        form=form.over(PROPOSED),
        people=accounts.people(work),
        invitations=invitations.page(work),
        link=link,
    )


def _person_page(work: Work, person_id: int, form: Filled) -> PersonPage:
    person = accounts.get(work, person_id)
    return PersonPage(
        title=person.display_name,
        form=form,
        person=person,
        history=accounts.history(work, person_id),
    )


@router.get("/people")
def list_people(visit: VisitDep) -> Response:
    """Everybody with an account."""
    with visit.work() as work:
        return visit.page(_people_page(work, Filled()))


@router.post("/people")
def create_person(visit: VisitDep, form: FormDep) -> Response:
    """Give somebody an account."""

    def act(work: Work) -> Response:
        accounts.create_person(
            work,
            form.text("name"),
            form.text("password"),
            _role(form),
            form.text("display_name"),
        )
        return visit.redirect("/people")

    return visit.submit(form, act, _people_page)


@router.post("/people/invitations")
def invite(visit: VisitDep, form: FormDep) -> Response:
    """A link for somebody to come in by, shown this once."""

    def act(work: Work) -> Response:
        new = NewInvitation.of(form.only(NewInvitation.model_fields))
        invited = invitations.invite(work, new)
        link = f"{visit.public}/invitations/{invited.token}"
        return visit.page(_people_page(work, Filled(), link))

    return visit.submit(form, act, _people_page)


@router.post("/people/invitations/{invitation_id}/withdraw")
def withdraw(visit: VisitDep, invitation_id: int, form: FormDep) -> Response:
    """Make the link of an invitation lead nowhere."""

    def act(work: Work) -> Response:
        invitations.withdraw(work, invitation_id)
        return visit.redirect("/people#invitations")

    return visit.submit(form, act, _people_page)


@router.get("/people/{person_id}")
def show_person(visit: VisitDep, person_id: int) -> Response:
    """An account, and what was done to it."""
    with visit.work() as work:
        return visit.page(_person_page(work, person_id, Filled()))


@router.post("/people/{person_id}")
def change_person(visit: VisitDep, person_id: int, form: FormDep) -> Response:
    """Give somebody another role or password, or let them in or shut them out."""

    def act(work: Work) -> Response:
        _change(work, person_id, form)
        return visit.redirect(f"/people/{person_id}")

    return visit.submit(form, act, lambda work, filled: _person_page(work, person_id, filled))


@router.get("/invitations/{token}")
def show_invitation(visit: VisitDep, token: str) -> Response:
    """What somebody is invited to, and the form to come in."""
    with visit.work() as work:
        return visit.page(_invitation_page(work, token, Filled()))


@router.post("/invitations/{token}")
def accept(visit: VisitDep, token: str, form: FormDep) -> Response:
    """Make the account that somebody was invited to, and sign them in."""

    def act(work: Work) -> Response:
        newcomer = Newcomer.of(form.only(Newcomer.model_fields))
        came = invitations.accept(
            work, token, newcomer, form.text("password"), visit.limits, visit.browser
        )
        return enter(visit, came, "/account")

    return visit.submit(form, act, lambda work, filled: _invitation_page(work, token, filled))


def _invitation_page(work: Work, token: str, form: Filled) -> InvitationPage:
    return InvitationPage(form=form, role=invitations.role_of(work, token), token=token)


def _change(work: Work, person_id: int, form: Form) -> None:
    match form.text("change"):
        case "disable":
            accounts.disable(work, person_id)
        case "enable":
            accounts.enable(work, person_id)
        case "password":
            accounts.reset_password(work, person_id, form.text("password"))
        case _:
            accounts.set_role(work, person_id, _role(form))


def _role(form: Form) -> Role:
    try:
        return Role(form.text("role"))
    except ValueError:
        sentence = f"choose one of {', '.join(Role)}"
        raise Invalid(
            "There is no such role.", where="role", mend=sentence, fields={"role": sentence}
        ) from None
