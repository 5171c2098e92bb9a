"""What comes before a journey, done without looking: forms sent as the page gives them."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode, urlsplit

from bs4 import BeautifulSoup, Tag
from playwright.sync_api import APIRequestContext


@dataclass(frozen=True)
class Answer:
    """Where a form led to, and the page there."""

    path: str
    page: BeautifulSoup


def read(ask: APIRequestContext, path: str) -> BeautifulSoup:
    """Return a page."""
    answer = ask.get(path)
    assert answer.status == 200, f"{path} answered {answer.status}"
    return BeautifulSoup(answer.body(), "html.parser")


def send(
    ask: APIRequestContext,
    path: str,
    typed: Mapping[str, str] | None = None,
    *,
    to: str = "",
    refusable: bool = False,
) -> Answer | None:
    """Fill in a page's form and send it; return what answers, None when it is refused.

    Args:
        ask: somebody's requests.
        path: the page with the form.
        typed: what stands in fields instead of what the page put there; all others are sent as they are.
        to: the end of the form's own address; empty for the form that sends to its page.
        refusable: whether it may be refused without failing the test.
    """
    page = read(ask, path)
    (form, *_others) = [each for each in page.select("form[method=post]") if _leads(each, to)]
    action = str(form.get("action") or path)
    fields = {**dict(_filled(form)), **(typed or {})}
    answer = ask.post(
        action, data=urlencode(fields), headers={"Content-Type": "application/x-www-form-urlencoded"}
    )
    said = BeautifulSoup(answer.body(), "html.parser")
    if refusable and answer.status != 200:
        return None
    assert answer.status == 200, (action, answer.status, said.get_text(" ", strip=True)[:600])
    return Answer(urlsplit(answer.url).path, said)


def _leads(form: Tag, to: str) -> bool:
    action = urlsplit(str(form.get("action") or "")).path
    return action.endswith(to) if to else not action


def _filled(form: Tag) -> list[tuple[str, Any]]:
    pairs = []
    for field in form.select("input[name], select[name], textarea[name]"):
        kind, name = field.get("type"), str(field["name"])
        if kind in ("checkbox", "radio"):
            if field.has_attr("checked"):
                pairs.append((name, field.get("value", "on")))
        elif field.name == "select":
            chosen = field.select_one("option[selected]") or field.select_one("option")
            pairs.append((name, "" if chosen is None else chosen.get("value", "")))
        elif kind not in ("submit", "file"):
            pairs.append((name, field.get("value", "") if field.name == "input" else field.get_text()))
    return pairs
