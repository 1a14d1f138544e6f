"""What every page gives its template: a frozen value whose fields are the template's names."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Any, ClassVar


@dataclass(frozen=True, kw_only=True, slots=True)
class PageContext:
    """A page: the template that shows it, and what the template may name.

    `title` is the title of the page, without the name of the site.
    """

    template: ClassVar[str]
    title: str

    def names(self) -> dict[str, Any]:
        """The names that the template sees."""
        return {each.name: getattr(self, each.name) for each in fields(self)}


@dataclass(frozen=True, slots=True)
class Filled:
    """A form as it stands: what is in its fields, and what is wrong with them.

    `values` holds one string a field or, where several were sent, a tuple; `errors` a sentence
    a field; `refusal` what is wrong as a whole.
    """

    values: dict[str, Any] = field(default_factory=dict)
    errors: dict[str, str] = field(default_factory=dict)
    refusal: Any = None

    def value(self, name: str) -> Any:
        """What the field `name` holds; empty where nothing was given."""
        held = self.values.get(name, "")
        return "" if held is None else held

    def over(self, held: Mapping[str, Any]) -> "Filled":
        """The same, fields that it lacks as they are `held`: a page may have several forms."""
        return replace(self, values={**held, **self.values})

    def error(self, name: str) -> str:
        """What is wrong with the field `name`; empty where nothing is."""
        return self.errors.get(name, "")
