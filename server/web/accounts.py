"""Signing in and out, and one's own account."""

from dataclasses import dataclass
from typing import ClassVar, Final

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import accounts, passkeys, people, published, scopes, sign_ins, tokens
from server.catalog.accounts import PersonRecord
from server.catalog.errors import SignInRefused, TooManyAttempts
from server.catalog.events import EventRecord
from server.catalog.passkeys import PasskeyRecord
from server.catalog.scopes import MEANINGS, USUAL, Scope
from server.catalog.sign_ins import SignInRecord
from server.catalog.tokens import TokenRecord
from server.catalog.work import Work
from server.statuses import problem_of
from server.web.context import Filled, PageContext
from server.web.forms import FormDep
from server.web.visit import Visit, VisitDep

router = APIRouter()

SCOPES: Final = tuple((scope, MEANINGS[scope], scope in USUAL) for scope in Scope)
"""Each scope, what it means, and whether it is ticked at first."""


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
    person: PersonRecord
    passkeys: tuple[PasskeyRecord, ...]
    tokens: tuple[TokenRecord, ...]
    sign_ins: tuple[SignInRecord, ...]
    history: tuple[EventRecord, ...]
    scopes: tuple[tuple[Scope, str, bool], ...] = SCOPES
    issued: str = ""


def sign_in_page(visit: Visit, form: Filled, then: str) -> SignInPage:
    """The form to sign in, which goes on to the page `then`."""
    return SignInPage(form=form, next=then, demo=visit.settings.demo)


def account_page(visit: Visit, work: Work, form: Filled, issued: str = "") -> AccountPage:
    """The account of whoever is signed in, as it stands."""
    person = accounts.own(work)
    return AccountPage(
        form=form,
        person=person,
        passkeys=passkeys.own(work),
        tokens=tokens.own(work),
        sign_ins=sign_ins.own(work, visit.token),
        history=accounts.history(work, person.id),
        issued=issued,
    )


def enter(visit: Visit, signed_in: people.SignedIn, path: str) -> Response:
    """The answer that gives the browser its sign-in, and sends it on."""
    response = visit.redirect(path)
    visit.cookies.keep(response, visit.cookies.session, signed_in.token)
    visit.cookies.drop(response, visit.cookies.visitor)
    return response


@router.get("/sign-in")
def sign_in_form(visit: VisitDep, next: str = "/") -> Response:  # noqa: A002 - the field's name
    """The form to sign in."""
    with visit.work():
        return visit.page(sign_in_page(visit, Filled(), next))


@router.post("/sign-in")
def sign_in(visit: VisitDep, form: FormDep) -> Response:
    """Recognise a person, and give the browser a token for the visit."""
    try:
        with visit.change(form) as work:
            name, password = form.text("name"), form.text("password")
            signed_in = people.sign_in(work, name, password, visit.limits, visit.browser)
    except (SignInRefused, TooManyAttempts) as refusal:
        filled = Filled({"name": form.text("name")}, refusal.fields, refusal)
        page = sign_in_page(visit, filled, form.text("next"))
        return visit.page(page, status=problem_of(refusal).status)
    return enter(visit, signed_in, form.text("next"))


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
        return visit.page(account_page(visit, work, Filled()))


@router.post("/account/password")
def change_password(visit: VisitDep, form: FormDep) -> Response:
    """Give oneself another password; it ends every sign-in, this one too."""

    def act(work: Work) -> Response:
        accounts.change_password(work, form.text("old"), form.text("new"))
        return visit.redirect("/sign-in?next=/account")

    return visit.submit(form, act, lambda work, filled: account_page(visit, work, filled))


@router.post("/account/named")
def be_named(visit: VisitDep, form: FormDep) -> Response:
    """Agree to be named to visitors, or take it back."""
    with visit.change(form) as work:
        accounts.be_named(work, named=form.text("named") == "yes")
    return visit.redirect("/account#named")


@router.post("/account/sign-ins/others/end")
def end_other_sign_ins(visit: VisitDep, form: FormDep) -> Response:
    """End every sign-in but this one."""
    with visit.change(form) as work:
        sign_ins.end_others(work, visit.token)
    return visit.redirect("/account#sign-ins")


@router.post("/account/sign-ins/{sign_in_id}/end")
def end_sign_in(visit: VisitDep, sign_in_id: int, form: FormDep) -> Response:
    """End one sign-in."""
    with visit.change(form) as work:
        sign_ins.end(work, sign_in_id)
    return visit.redirect("/account#sign-ins")


@router.post("/account/tokens")
def issue_token(visit: VisitDep, form: FormDep) -> Response:
    """A token for a program, shown this once."""

    def act(work: Work) -> Response:
        allowed = scopes.of_words(form.texts("scopes"))
        issued = tokens.issue(work, form.text("label"), allowed=allowed)
        return visit.page(account_page(visit, work, Filled(), issued))

    return visit.submit(form, act, lambda work, filled: account_page(visit, work, filled))


@router.post("/account/tokens/{token_id}/revoke")
def revoke_token(visit: VisitDep, token_id: int, form: FormDep) -> Response:
    """End a token."""
    with visit.change(form) as work:
        tokens.revoke(work, token_id)
    return visit.redirect("/account#tokens")
