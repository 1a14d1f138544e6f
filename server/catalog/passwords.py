"""Passwords: which are taken, and the argon2id hashes that are kept of them.

Sources, from memory: NIST SP 800-63B-4 (at least 15 characters where a password is all there
is, any characters, no rules of composition, a list of refused ones); RFC 9106, section 4 (the
second recommended choice: 64 MiB, 3 passes, 4 lanes), which the library has as its default.
A password is brought into Unicode form NFC first, so that an accent typed on another keyboard
is still the same accent.
"""

import unicodedata
from functools import cache
from threading import BoundedSemaphore

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from server.catalog.errors import Invalid

SHORTEST, LONGEST = 15, 256
_FEWEST_DISTINCT = 5
_OWN_PART = 8
"""A password that is a name and fewer other characters than this is as good as the name."""

_AT_ONCE = BoundedSemaphore(2)
"""Each hash takes 64 MiB; more at once would only make every sign-in slower."""

_HASHER = PasswordHasher()

_OBVIOUS = (
    "password", "passphrase", "letmein", "iloveyou", "administrator", "qwertyuiop", "qwerty",
    "asdfghjkl", "zxcvbnm", "abcdefghijklmnopqrstuvwxyz", "01234567890123456789", "9876543210",
    "correcthorsebatterystaple", "punchedpapertape", "papertapearchive", "feedhole", "changeme",
    "welcome", "secret",
)  # fmt: skip


def normalised(password: str) -> str:
    """The password in the form that is hashed."""
    return unicodedata.normalize("NFC", password)


def require_good(password: str, *names: str) -> None:
    """Nothing, if `password` will do for the person of those `names`.

    Raises:
        Invalid: saying why not.
    """
    password = normalised(password)
    reason = _length(password) or _guessable(password, names)
    if reason:
        raise Invalid(
            reason,
            where="password",
            mend="Take several words that have nothing to do with each other.",
            fields={"password": reason},
        )


def _length(password: str) -> str:
    if len(password) < SHORTEST:
        return f"The password has {len(password)} characters; at least {SHORTEST} are needed."
    if len(password) > LONGEST:
        return f"The password has {len(password)} characters; at most {LONGEST} are kept."
    return ""


def _guessable(password: str, names: tuple[str, ...]) -> str:
    folded = "".join(each for each in password.casefold() if not each.isspace())
    if len(set(folded)) < _FEWEST_DISTINCT:
        return "The password repeats a few characters."
    words = [each.casefold().replace(" ", "") for each in names if len(each) > 2]
    if any(len(folded.replace(word, "")) < _OWN_PART for word in words if word in folded):
        return "The password is little more than the person's name."
    left = folded
    for word in _OBVIOUS:
        left = left.replace(word, "")
    added = sum(1 for each in left if not each.isdigit())
    if any(folded in word for word in _OBVIOUS) or (left != folded and added < _OWN_PART):
        return "The password is one of the first that anybody would try."
    return ""


def hash_of(password: str) -> str:
    """The argon2id hash to keep."""
    with _AT_ONCE:
        return _HASHER.hash(normalised(password))


def matches(password: str, kept: str | None) -> bool:
    """Whether `password` is the one of the `kept` hash; None takes as long and is never right."""
    with _AT_ONCE:
        try:
            _HASHER.verify(kept or _nobodys(), normalised(password[: LONGEST + 1]))
        except (VerificationError, InvalidHashError):
            return False
    return kept is not None


def is_outdated(kept: str) -> bool:
    """Whether the hash was made with other parameters than we use now."""
    return _HASHER.check_needs_rehash(kept)


@cache
def _nobodys() -> str:
    return _HASHER.hash("the password of nobody at all")
