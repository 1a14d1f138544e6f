import unicodedata

import pytest
from argon2 import PasswordHasher, Type, extract_parameters

from server.catalog import passwords
from server.catalog.errors import Invalid

GOOD = "eleven plum velvet anvils"


@pytest.mark.parametrize(
    "password",
    [
        "fourteen chars",
        "x" * 257,
        "aaaaaaaaaaaaaaaaaaaaaaaa",
        "121212121212121212",
        "Password123456789",
        "123456789012345",
        "correct horse battery staple",
        "qwertyuiop1234567",
        "Ada Lovett Ada Lovett",
        "adalovett123456",
    ],
)
def test_a_password_that_would_be_guessed_is_refused(password):
    with pytest.raises(Invalid) as refused:
        passwords.require_good(password, "adalovett", "Ada Lovett")

    assert list(refused.value.fields) == ["password"]


@pytest.mark.parametrize(
    "password", [GOOD, "x y z w v u t s r q p", "пятнадцать букв тут", "🎚️" * 8 + GOOD]
)
def test_any_characters_make_a_password(password):
    passwords.require_good(password, "ada")


def test_an_accent_is_the_same_however_it_was_typed():
    composed = unicodedata.normalize("NFC", "crème brûlée à l'été")
    apart = unicodedata.normalize("NFD", composed)

    assert composed != apart
    assert passwords.matches(apart, passwords.hash_of(composed))


def test_the_hash_is_argon2id_with_the_memory_that_the_standard_recommends():
    """RFC 9106, section 4, second recommended option (from memory): 64 MiB, 3 passes, 4 lanes;
    salt of 128 bits, tag of 256."""
    found = extract_parameters(passwords.hash_of(GOOD))

    assert found.type == Type.ID
    assert (found.memory_cost, found.time_cost, found.parallelism) == (65536, 3, 4)
    assert (found.salt_len, found.hash_len) == (16, 32)


def test_nobodys_password_is_never_right():
    assert not passwords.matches(GOOD, None)
    assert not passwords.matches("the password of nobody at all", None)


def test_a_broken_hash_matches_nothing():
    assert not passwords.matches(GOOD, "not a hash")


def test_a_hash_with_other_parameters_is_outdated():
    assert passwords.is_outdated(PasswordHasher(time_cost=1, memory_cost=8192).hash(GOOD))
    assert not passwords.is_outdated(passwords.hash_of(GOOD))
