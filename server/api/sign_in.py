"""Signing in: a name and a password for a token, with which programs act for a person."""

from datetime import datetime, timedelta
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Path, Response
from pydantic import Field

from server.api.caller import SIGNED_IN, CallerDep
from server.api.problems import BODY, responses
from server.catalog import people, tokens
from server.catalog.inputs import Input, RequiredName
from server.catalog.scopes import Scope, in_order
from server.catalog.work import Role
from server.inspection import Fields

router = APIRouter(tags=["sign-in"])


class Credentials(Input):
    """Who signs in, and what the token is for."""

    name: RequiredName
    # Not stripped and hardly bounded: any characters make a password.
    password: Annotated[
        str, Field(min_length=1, max_length=1000, json_schema_extra={"format": "password"})
    ]
    label: RequiredName = "API"
    scopes: Annotated[
        tuple[Scope, ...],
        Field(min_length=1, description="What it may be used for; all that you may, if left out."),
    ] = tuple(Scope)
    days: Annotated[
        int | None, Field(ge=1, le=3660, description="How long it holds; until revoked, if null.")
    ] = None


class PersonOut(Fields):
    """Who is signed in."""

    name: str = Field(description="The name shown.")
    role: Role = Field(description="What the person may do; each role includes those before it.")


class IssuedOut(PersonOut):
    """A token just issued."""

    token: str = Field(description="The token; it is told only now. Send it as a bearer token.")
    label: str = Field(description="What it is for.")
    scopes: list[Scope] = Field(description="What it may be used for.")


class TokenOut(Fields):
    """A token that still holds."""

    id: int = Field(description="Number of the token, to revoke it by.")
    label: str = Field(description="What it is for.")
    scopes: list[Scope] = Field(description="What it may be used for.")
    created: datetime = Field(description="When it was issued, in UTC.")
    used: datetime | None = Field(description="When it was last used, in UTC.")
    expires: datetime | None = Field(description="When it ends, in UTC; null: once revoked.")


@router.post(
    "/tokens",
    status_code=HTTPStatus.CREATED,
    responses=responses(*BODY, "sign-in-refused", "not-allowed", "too-many-attempts"),
)
def issue_token(response: Response, caller: CallerDep, given: Credentials) -> IssuedOut:
    """Sign in with a name and a password, and get a token to send with each request."""
    allowed = frozenset(given.scopes)
    with caller.work() as work:
        session = people.sign_in(work, given.name, given.password)
        own = work.acting_as(session.actor)
        lasts = timedelta(days=given.days) if given.days else None
        token = tokens.issue(own, given.label, lasts, allowed)
        # The token is all that the program needs; no browser holds this sign-in.
        people.sign_out(own, session.token)
    response.headers["Cache-Control"] = "no-store"
    return IssuedOut(
        name=session.actor.name,
        role=session.actor.role,
        token=token,
        label=given.label,
        scopes=list(in_order(allowed)),
    )


@router.get("/tokens", dependencies=SIGNED_IN, responses=responses())
def list_tokens(caller: CallerDep) -> list[TokenOut]:
    """Your own tokens that still hold, newest first."""
    with caller.reading() as work:
        return [TokenOut.model_validate(each) for each in tokens.own(work)]


@router.delete(
    "/tokens/{token_id}",
    status_code=HTTPStatus.NO_CONTENT,
    dependencies=SIGNED_IN,
    responses=responses("not-from-here", "not-found", "invalid"),
)
def revoke_token(
    token_id: Annotated[int, Path(description="Number of the token.", ge=1, le=2**31 - 1)],
    caller: CallerDep,
) -> None:
    """Revoke one of your own tokens, at once."""
    with caller.work() as work:
        tokens.revoke(work, token_id)


@router.get("/me", responses=responses())
def who_am_i(caller: CallerDep) -> PersonOut:
    """Who you are to the archive: a visitor where you are not signed in."""
    return PersonOut(name=caller.actor.name, role=caller.actor.role)
