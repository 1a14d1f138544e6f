"""Signing in and out, one's own account, and the people of the archive."""

from dataclasses import dataclass
from typing import ClassVar

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import accounts, people, published
from server.catalog.accounts import PersonRecord
from server.catalog.errors import Invalid, SignInRefused, TooManyAttempts
from server.catalog.people import TokenRecord
from server.catalog.work import Role, Work
from server.statuses import problem_of
from server.web.context import Filled, PageContext
from server.web.forms import Form, FormDep
from server.web.visit import VisitDep

router = APIRouter()


@dataclass(frozen=True, kw_only=True, slots=True)
class SignInPage(PageContext):
    """The form to sign in; `next` is the page to go on to.

    `accounts` and their `password` are told in the demonstration only.
    """

    template: ClassVar[str] = "pages/sign_in.html"
    title: str = "Sign in"
    form: Filled
    next: str
    demo: bool
    accounts: tuple[published.Account, ...] = published.ACCOUNTS
    password: str = published.PASSWORD


@dataclass(frozen=True, kw_only=True, slots=True)
class AccountPage(PageContext):
    """One's own account; `issued` is a token just made, shown this once."""

    template: ClassVar[str] = "pages/account.html"
    title: str = "Your account"
    form: Filled
    tokens: tuple[TokenRecord, ...]
    issued: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class PeoplePage(PageContext):
    """Everybody with an account, and the form of a new one."""

    template: ClassVar[str] = "pages/people.html"
    title: str = "People"
    form: Filled
    people: tuple[PersonRecord, ...]


def _account_page(work: Work, form: Filled, issued: str = "") -> AccountPage:
    return AccountPage(form=form, tokens=people.tokens(work), issued=issued)


def _people_page(work: Work, form: Filled) -> PeoplePage:
    return PeoplePage(form=form, people=accounts.people(work))


@router.get("/sign-in")
def sign_in_form(visit: VisitDep, next: str = "/") -> Response:  # noqa: A002 - the field's name
    """The form to sign in."""
    with visit.work():
        return visit.page(SignInPage(form=Filled(), next=next, demo=visit.settings.demo))


@router.post("/sign-in")
def sign_in(visit: VisitDep, form: FormDep) -> Response:
    """Recognise a person, and give the browser a token for the visit."""
    try:
        with visit.change(form) as work:
            name, password = form.text("name"), form.text("password")
            signed_in = people.sign_in(work, name, password, visit.limits)
    except (SignInRefused, TooManyAttempts) as refusal:
        page = SignInPage(
            form=Filled({"name": form.text("name")}, refusal.fields, refusal),
            next=form.text("next"),
            demo=visit.settings.demo,
        )
        return visit.page(page, status=problem_of(refusal).status)
    response = visit.redirect(form.text("next"))
    visit.cookies.keep(response, visit.cookies.session, signed_in.token)
    visit.cookies.drop(response, visit.cookies.visitor)
    return response


@router.post("/sign-out")
def sign_out(visit: VisitDep, form: FormDep) -> Response:
    """End the sign-in."""
    with visit.change(form) as work:
        people.sign_out(work, visit.token)
    response = visit.redirect("/")
    visit.cookies.drop(response, visit.cookies.session)
    response.headers["Clear-Site-Data"] = '"cache", "storage"'
    return response


@router.get("/account")
def account(visit: VisitDep) -> Response:
    """One's own account."""
    with visit.work() as work:
        return visit.page(_account_page(work, Filled()))


@router.post("/account/password")
def change_password(visit: VisitDep, form: FormDep) -> Response:
    """Give oneself another password; it ends every sign-in, this one too."""

    def act(work: Work) -> Response:
        accounts.change_password(work, form.text("old"), form.text("new"))
        return visit.redirect("/sign-in?next=/account")

    return visit.submit(form, act, _account_page)


@router.post("/account/tokens")
def issue_token(visit: VisitDep, form: FormDep) -> Response:
    """A token for a program, shown this once."""

    def act(work: Work) -> Response:
        issued = people.issue_token(work, form.text("label"))
        work.session.flush()
        return visit.page(_account_page(work, Filled(), issued))

    return visit.submit(form, act, _account_page)


@router.post("/account/tokens/{token_id}/revoke")
def revoke_token(visit: VisitDep, token_id: int, form: FormDep) -> Response:
    """End a token."""
    with visit.change(form) as work:
        people.revoke_token(work, token_id)
    return visit.redirect("/account")


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


@router.post("/people/{person_id}")
def change_person(visit: VisitDep, person_id: int, form: FormDep) -> Response:
    """Give somebody another role or password, or let them in or shut them out."""

    def act(work: Work) -> Response:
        _change(work, person_id, form)
        return visit.redirect("/people")

    return visit.submit(form, act, _people_page)


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
