"""Sample rows of people, and of all by which they come in."""

from datetime import UTC, datetime

from sqlalchemy.orm import Session

from server.store.people import (
    ApiToken,
    Invitation,
    Passkey,
    PasskeyChallenge,
    Person,
    SignIn,
    SignInFailure,
)

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)


def add_person(session: Session) -> Person:
    """Somebody with one of everything that people have."""
    person = Person(
        name="ada",
        display_name="Ada",
        role="archivist",
        password_hash="x",
        created_at=NOW,
        password_changed_at=NOW,
    )
    session.add(person)
    session.flush()
    assert person.id is not None
    session.add_all(
        (
            SignIn(
                person_id=person.id,
                token_hash="t",
                csrf_token="c",
                created_at=NOW,
                seen_at=NOW,
                idle_expires_at=NOW,
                expires_at=NOW,
            ),
            ApiToken(person_id=person.id, label="reader", token_hash="t", created_at=NOW),
            SignInFailure(name_hash="n", failures=1, last_at=NOW),
            Invitation(token_hash="i", role="volunteer", note="", created_at=NOW, expires_at=NOW),
            Passkey(
                person_id=person.id,
                name="key ring",
                credential_id="a2V5",
                credential=b"key",
                site="tapes.example",
                uses=0,
                created_at=NOW,
            ),
            PasskeyChallenge(challenge="c", session_hash="s", expires_at=NOW),
        )
    )
    return person
