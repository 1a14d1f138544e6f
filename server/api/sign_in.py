"""Signing in: a name and a password for a token, with which programs act for a person."""

from datetime import datetime
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Path, Response
from pydantic import Field

from server.api.caller import SIGNED_IN, CallerDep
from server.api.problems import BODY, responses
from server.catalog import people
from server.catalog.inputs import Input, RequiredName
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


class PersonOut(Fields):
    """Who is signed in."""

    name: str = Field(description="The name shown.")
    role: Role = Field(description="What the person may do; each role includes those before it.")


class IssuedOut(PersonOut):
    """A token just issued."""

    token: str = Field(description="The token; it is told only now. Send it as a bearer token.")
    label: str = Field(description="What it is for.")


class TokenOut(Fields):
    """A token that still holds."""

    id: int = Field(description="Number of the token, to revoke it by.")
    label: str = Field(description="What it is for.")
    created: datetime = Field(description="When it was issued, in UTC.")
    used: datetime | None = Field(description="When it was last used, in UTC.")


@router.post(
    "/tokens",
    status_code=HTTPStatus.CREATED,
    responses=responses(*BODY, "sign-in-refused", "not-allowed", "too-many-attempts"),
)
def issue_token(response: Response, caller: CallerDep, given: Credentials) -> IssuedOut:
    """Sign in with a name and a password, and get a token to send with each request."""
    with caller.work() as work:
        session = people.sign_in(work, given.name, given.password)
        own = work.acting_as(session.actor)
        token = people.issue_token(own, given.label)
        # The token is all that the program needs; no browser holds this sign-in.
        people.sign_out(own, session.token)
    response.headers["Cache-Control"] = "no-store"
    return IssuedOut(
        name=session.actor.name, role=session.actor.role, token=token, label=given.label
    )


@router.get("/tokens", dependencies=SIGNED_IN, responses=responses())
def list_tokens(caller: CallerDep) -> list[TokenOut]:
    """Your own tokens that still hold, newest first."""
    with caller.reading() as work:
        return [TokenOut.model_validate(each) for each in people.tokens(work)]


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
        people.revoke_token(work, token_id)


@router.get("/me", responses=responses())
def who_am_i(caller: CallerDep) -> PersonOut:
    """Who you are to the archive: a visitor where you are not signed in."""
    return PersonOut(name=caller.actor.name, role=caller.actor.role)
