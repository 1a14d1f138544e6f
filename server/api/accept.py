"""Which of several forms the Accept header of a request prefers: RFC 9110, section 12.5.1."""

from collections.abc import Sequence

from server.statuses import NOT_ACCEPTABLE, Refused


def preferred(accept: str, offered: Sequence[str]) -> str:
    """The form of `offered` that `accept` weighs most; of equals, the first.

    Raises:
        Refused: it takes none of them.
    """
    ranges = [_range(each) for each in accept.split(",") if each.strip()]
    weights = {form: _weight(form, ranges) for form in offered}
    best = max(offered, key=weights.__getitem__)
    if weights[best] <= 0:
        raise Refused(
            NOT_ACCEPTABLE,
            f"There is no {accept} of this.",
            where="Accept",
            mend=f"Ask for one of {', '.join(offered)}.",
        )
    return best


def _range(text: str) -> tuple[str, float]:
    """A media range and its weight; parameters other than the weight are not told apart."""
    name, *parameters = (part.strip() for part in text.split(";"))
    for parameter in parameters:
        key, _, value = parameter.partition("=")
        if key.strip().lower() == "q":
            try:
                return name.lower(), min(1.0, max(0.0, float(value)))
            except ValueError:
                return name.lower(), 0.0
    return name.lower(), 1.0


def _weight(form: str, ranges: Sequence[tuple[str, float]]) -> float:
    """The weight of the most specific range that takes in `form`; 0 where none does."""
    kind = form.partition("/")[0]
    for name in (form, f"{kind}/*", "*/*"):
        weights = [weight for each, weight in ranges if each == name]
        if weights:
            return max(weights)
    return 0.0
