"""The cookies of the site: the sign-in, the secret of a visitor's forms, and light or dark."""

from dataclasses import dataclass

from starlette.responses import Response

THEME = "theme"
THEMES = ("light", "dark")
YEAR_SECONDS = 365 * 24 * 3600


@dataclass(frozen=True, slots=True)
class Cookies:
    """Names and attributes of the cookies; over TLS (`secure`) they are bound to this host."""

    secure: bool

    @property
    def session(self) -> str:
        """The name of the cookie that holds the token of a sign-in."""
        return self._name("feedhole")

    @property
    def visitor(self) -> str:
        """The name of the cookie that holds the secret of the forms of who is not signed in."""
        return self._name("feedhole-form")

    def _name(self, name: str) -> str:
        return f"__Host-{name}" if self.secure else name

    def keep(self, response: Response, name: str, value: str) -> None:
        """Set a cookie that no script can read and no other site can send a change with."""
        response.set_cookie(
            name, value, path="/", secure=self.secure, httponly=True, samesite="lax"
        )

    def drop(self, response: Response, name: str) -> None:
        """Take a cookie back."""
        response.delete_cookie(name, path="/", secure=self.secure, httponly=True, samesite="lax")

    def keep_theme(self, response: Response, theme: str) -> None:
        """Remember light or dark for a year, or forget it when `theme` is neither."""
        if theme not in THEMES:
            response.delete_cookie(THEME, path="/", secure=self.secure, samesite="lax")
            return
        response.set_cookie(
            THEME, theme, YEAR_SECONDS, path="/", secure=self.secure, samesite="lax"
        )
