"""What a browser gets: somebody signed in, pages that protect it, and what stands beside a field."""

from collections.abc import Mapping
from typing import Any

from bs4 import BeautifulSoup, Tag
from django.test import Client

from rentals.people.models import User


def signed_in(user: User) -> Client:
    """A browser in which somebody is signed in."""
    client = Client()
    client.force_login(user)
    return client


def protected(headers: Mapping[str, str]) -> None:
    """OWASP Secure Headers Project: no unsafe-* in the policy, no sniffing, framing or leaking referrer."""
    policy = headers.get("Content-Security-Policy", "")
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "base-uri 'none'" in policy
    assert "unsafe-" not in policy
    assert headers.get("X-Content-Type-Options") == "nosniff"
    assert headers.get("X-Frame-Options") == "DENY"
    assert headers.get("Referrer-Policy") == "same-origin"
    assert headers.get("Cross-Origin-Opener-Policy") == "same-origin"
    assert "geolocation=()" in headers.get("Permissions-Policy", "")


class Form:
    """The form on a page, as a person sees it."""

    def __init__(self, response: Any) -> None:
        self.page = BeautifulSoup(response.content, "html.parser")

    def value(self, name: str) -> str:
        """What stands in a field."""
        field = self._field(name)
        if field.name == "select":
            chosen = field.find("option", selected=True)
            return "" if chosen is None else str(chosen["value"])
        if field.get("type") == "radio":
            checked = self.page.find("input", {"name": name, "checked": True})
            return "" if checked is None else str(checked["value"])
        if field.name == "textarea":
            return field.get_text().removeprefix("\n")
        return str(field.get("value", ""))

    def ticked(self, name: str) -> bool:
        """Whether a box is ticked."""
        return self._field(name).has_attr("checked")

    def said(self, name: str) -> str:
        """What is said beside a field."""
        around = self._field(name).find_parent(class_="has-error")
        error = None if around is None else around.find(class_="field-error")
        return "" if error is None else error.get_text(strip=True)

    @property
    def summary(self) -> str:
        """What is said at the top."""
        box = self.page.find(class_="summary")
        return "" if box is None else box.get_text(" ", strip=True)

    def _field(self, name: str) -> Tag:
        field = self.page.find(["input", "select", "textarea"], {"name": name})
        assert isinstance(field, Tag), name
        return field
