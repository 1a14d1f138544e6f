"""What may come in: plain values, checked before any table is touched."""

import re
from collections.abc import Mapping
from typing import Annotated, Any, Final, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    StringConstraints,
    ValidationError,
)

from server.catalog.errors import Invalid
from server.catalog.input_sentences import sentence

NAME_LENGTH = 200
TEXT_LENGTH = 4000


def _none_if_blank(value: object) -> object:
    """A form sends an empty string for a field that was left empty."""
    return None if isinstance(value, str) and not value.strip() else value


Name = Annotated[str, StringConstraints(max_length=NAME_LENGTH, pattern=r"^[^\x00-\x1f\x7f]*$")]
"""One line of text of at most 200 characters, without control characters."""

RequiredName = Annotated[Name, StringConstraints(min_length=1)]

Text = Annotated[str, StringConstraints(max_length=TEXT_LENGTH, pattern=r"^[^\x00]*$")]
"""Text of at most 4,000 characters; the databases cannot all hold a NUL."""

RequiredText = Annotated[Text, StringConstraints(min_length=1)]

OrNone = BeforeValidator(_none_if_blank)
"""Annotates an optional field, so that a form's empty string means that it is not given."""


DIGEST: Final = re.compile(r"[0-9A-Fa-f]{64}")
"""What the name of an image looks like."""


def _is_digest(text: str) -> str:
    if not DIGEST.fullmatch(text):
        raise ValueError("a SHA-256 has 64 hexadecimal digits")
    return text.lower()


Sha256 = Annotated[str, AfterValidator(_is_digest)]
"""The name of an image: 64 hexadecimal digits."""


class Input(BaseModel):
    """Values given by a person or a program, checked on construction and never changed."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)

    @classmethod
    def of(cls, values: Mapping[str, Any]) -> Self:
        """The input made of `values`, as from a form.

        Raises:
            Invalid: with a sentence in `fields` for each value that cannot be taken.
        """
        try:
            return cls.model_validate(dict(values))
        except ValidationError as error:
            raise invalid(error) from None

    def given(self) -> dict[str, Any]:
        """The values that were really given, by name: what a change changes."""
        return self.model_dump(exclude_unset=True)


def invalid(error: ValidationError) -> Invalid:
    """The same refusal in the archive's own words."""
    fields = {_field(each["loc"]): sentence(each) for each in error.errors()}
    return Invalid(
        "Some of what was given cannot be taken.",
        where=", ".join(fields),
        mend=" ".join(f"{name}: {fault}" for name, fault in fields.items()),
        fields=fields,
    )


def _field(location: tuple[int | str, ...]) -> str:
    return ".".join(str(part) for part in location) or "input"
