"""Passkeys: what a browser is asked for, in JSON, and what becomes of its answer.

A script (`static/passkeys.js`) stands between the two; everything else works without it.
"""

import json
from http import HTTPStatus
from typing import Any

from fastapi import APIRouter
from starlette.responses import JSONResponse, Response

from server.catalog import passkeys
from server.catalog.errors import ArchiveError, SignInRefused
from server.catalog.passkeys import NewPasskey
from server.catalog.work import Work
from server.statuses import problem_of
from server.web.accounts import account_page, enter, sign_in_page
from server.web.context import Filled
from server.web.forms import Form, FormDep
from server.web.visit import VisitDep

router = APIRouter()


@router.post("/sign-in/passkey/options")
def offer_sign_in(visit: VisitDep, form: FormDep) -> Response:
    """What the browser needs to sign in with a key."""
    with visit.change(form) as work:
        return _options(passkeys.offer_sign_in(work, visit.site, visit.secret))


@router.post("/sign-in/passkey")
def sign_in(visit: VisitDep, form: FormDep) -> Response:
    """Recognise a person by a key, and give the browser a token for the visit."""
    try:
        with visit.change(form) as work:
            came = passkeys.sign_in(
                work, visit.site, visit.secret, _answer(form), visit.limits, visit.browser
            )
    except SignInRefused as refusal:
        page = sign_in_page(visit, Filled({}, refusal.fields, refusal), form.text("next"))
        return visit.page(page, status=problem_of(refusal).status)
    return enter(visit, came, form.text("next"))


@router.post("/account/passkeys/options")
def offer_new(visit: VisitDep, form: FormDep) -> Response:
    """What the browser needs to add a key; the password is asked again."""
    try:
        with visit.change(form) as work:
            asked = passkeys.offer_new(work, visit.site, visit.secret, form.text("password"))
            return _options(asked)
    except ArchiveError as refusal:
        return JSONResponse({"refusal": refusal.what}, problem_of(refusal).status)


@router.post("/account/passkeys")
def add(visit: VisitDep, form: FormDep) -> Response:
    """Keep a key that was just made."""

    def act(work: Work) -> Response:
        new = NewPasskey.of({"name": form.text("passkey_name")})
        passkeys.add(work, visit.site, visit.secret, new, _answer(form))
        return visit.redirect("/account#passkeys")

    return visit.submit(form, act, lambda work, filled: account_page(visit, work, filled))


@router.post("/account/passkeys/{passkey_id}")
def change(visit: VisitDep, passkey_id: int, form: FormDep) -> Response:
    """Call a key something else, or remove it."""

    def act(work: Work) -> Response:
        if form.text("change") == "remove":
            passkeys.remove(work, passkey_id)
        else:
            passkeys.rename(work, passkey_id, NewPasskey.of({"name": form.text("name")}))
        return visit.redirect("/account#passkeys")

    return visit.submit(form, act, lambda work, filled: account_page(visit, work, filled))


def _options(asked: dict[str, Any]) -> Response:
    return JSONResponse(asked, HTTPStatus.OK, headers={"Cache-Control": "no-store"})


def _answer(form: Form) -> dict[str, Any]:
    """What the key answered, or nothing where that is no object."""
    try:
        answer = json.loads(form.text("answer"))
    except ValueError:
        return {}
    return answer if isinstance(answer, dict) else {}
