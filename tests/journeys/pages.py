"""Every page that a person can open: found by following links, and held against what a page must keep."""

import re
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from urllib.parse import urlsplit

import axe_playwright_python
from bs4 import BeautifulSoup
from django.urls import Resolver404, get_resolver, resolve
from django.urls.resolvers import URLPattern, URLResolver
from playwright.sync_api import APIRequestContext, Page

HEAVIEST_BYTES = 200_000
"""The product's promise of a page: all that it asks for, uncompressed, nothing kept from before."""

TARGET_PX = 44
"""WCAG 2.2, success criterion 2.5.5: the least width and height of a target."""

MOST_OF_A_KIND = 8
"""Pages of one kind that are opened in search of links and states."""

FILES = [
    "calendar",
    "photo",
    "rider-export",
    "review-csv",
    "review-lists-csv",
    "incidents-export",
    "life-csv",
    "model-life-csv",
    "shed-export",
    "kit-recall-list",
    "takings-csv",
]
BUTTONS = [
    "sign-out",
    "set_language",
    "visit-leave",
    "visit-take",
    "rider-erase",
    "from-home-revoke",
    "issue",
    "release-held",
    "mend",
    "release",
    "no-lightning",
    "head-count",
    "recall",
    "lift-recall",
    "launch",
    "not-out",
    "still-afloat",
    "seen",
    "acknowledge",
    "swap-kit",
    "ashore",
    "plan-ask",
    "plan-accept",
    "plan-cancel",
    "rig-tick",
    "study-cancel",
    "assign",
    "told",
    "drop-shift",
    "end-absence",
    "make-feed",
    "revoke-feed",
    "account-act",
    "cancel",
    "stop-source",
    "wind-limits",
    "hire",
    "let-go",
    "medical-note",
    "spares",
    "change-demo",
    "errand-call-off",
]
FOR_MONITORS = ["health", "health-live", "health-ready"]
PARTS = ["watch-bar"]
NOT_PAGES = frozenset([*FILES, *BUTTONS, *FOR_MONITORS, *PARTS])
"""Addresses that are no page of their own."""

BEACH = frozenset(
    {
        "afloat", "beach", "launch-check", "return-check", "rig-up", "card", "outing", "rider-out",
        "distress", "checks-ready", "sign",
    }
)  # fmt: skip
"""Pages used with wet hands and sun on the screen."""


def names() -> list[str]:
    """The name of each address that is a page."""
    return sorted(set(_names(get_resolver().url_patterns)) - set(NOT_PAGES))


def _names(patterns: Iterable[URLPattern | URLResolver], before: str = "") -> Iterator[str]:
    for each in patterns:
        path = before + str(each.pattern)
        if isinstance(each, URLResolver):
            yield from _names(each.url_patterns, path)
        elif not path.startswith("api/") and each.name:
            yield each.name


@dataclass
class Crawl:
    """Addresses that links lead to, by the page's name; an outing's by its state too."""

    ask: APIRequestContext
    found: dict[str, list[str]] = field(default_factory=dict)
    broken: list[str] = field(default_factory=list)

    def follow(self, *starts: str) -> None:
        """Follow links from here on, a few of each kind."""
        waiting, seen, opened = list(starts), set(starts), Counter[str]()
        states = set()
        while waiting:
            path = waiting.pop(0)
            name = self._name(path)
            if name in NOT_PAGES or opened[name] >= MOST_OF_A_KIND:
                continue
            opened[name] += 1
            answer = self.ask.get(path)
            if answer.status != 200 or "html" not in answer.headers["content-type"]:
                self.broken.append(f"{path} answered {answer.status}")
                continue
            page = BeautifulSoup(answer.body(), "html.parser")
            kind = (name, self._state(page) if name == "outing" else "")
            if kind not in states:
                states.add(kind)
                self.found.setdefault(name, []).append(path)
            for link in page.select("a[href]"):
                target = str(link["href"]).partition("#")[0]
                if target.startswith("/") and self._plain(target) not in seen:
                    seen.add(self._plain(target))
                    waiting.append(target)

    def _plain(self, path: str) -> str:
        """Days and filters of a page are one page."""
        return urlsplit(path).path

    def _name(self, path: str) -> str:
        try:
            return str(resolve(urlsplit(path).path).url_name)
        except Resolver404:
            self.broken.append(f"{path} leads nowhere")
            return "health"

    def _state(self, page: BeautifulSoup) -> str:
        tag = page.select_one("main .tag")
        return "" if tag is None else tag.get_text(strip=True)


@cache
def _axe() -> str:
    return (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text()


class Look:
    """One page in a browser, held still, and asked about."""

    def __init__(self, page: Page) -> None:
        self.page = page

    def hold_still(self) -> None:
        """Let nothing renew itself while the page is measured."""
        self.page.evaluate("document.addEventListener('htmx:beforeRequest', (e) => e.preventDefault(), true)")

    def violations(self, *, in_sun: bool) -> list[str]:
        """Accessibility rules that the page breaks now, of all that axe runs unless told otherwise.

        Contrast is 7:1 in the sun, WCAG 2.2 success criterion 1.4.6, and that holds the lesser one too;
        elsewhere it is 4.5:1, 1.4.3.
        """
        if not self.page.evaluate("'axe' in window"):
            self.page.evaluate(_axe())
        rules = {"color-contrast-enhanced": {"enabled": in_sun}, "color-contrast": {"enabled": not in_sun}}
        found = self.page.evaluate(
            """async (options) => (await axe.run(document, options)).violations.map((each) =>
                `${each.id}: ${each.nodes.slice(0, 3).map((one) => one.html.slice(0, 160)).join(" | ")}`)""",
            {"resultTypes": ["violations"], "rules": rules},
        )
        return list(found)

    def too_wide(self) -> list[str]:
        """By how much the page scrolls sideways, and what sticks out."""
        return list(
            self.page.evaluate(
                """() => {
                const width = document.documentElement.clientWidth;
                if (document.documentElement.scrollWidth <= width) return [];
                return [...document.querySelectorAll("main *")]
                    .filter((each) => each.getBoundingClientRect().right > width + 0.5)
                    .slice(0, 3).map((each) => `sticks out: ${each.outerHTML.slice(0, 120)}`)
                    .concat(`${document.documentElement.scrollWidth - width} px too wide`);
            }"""
            )
        )

    def weight(self) -> int:
        """Bytes of all that the page asked for, uncompressed."""
        return int(
            self.page.evaluate(
                """() => ["navigation", "resource"].flatMap((kind) => performance.getEntriesByType(kind))
                    .reduce((sum, each) => sum + each.decodedBodySize, 0)"""
            )
        )

    def small_targets(self) -> list[str]:
        """Targets under 44 px either way; links within a line of text are let be (2.5.5, “inline”)."""
        return list(self.page.evaluate(SMALL, TARGET_PX))

    def shorten_lists(self) -> None:
        """Leave twenty rows of each long list: the others are made by the same template."""
        self.page.evaluate(
            """() => document.querySelectorAll("tbody, ul, ol, select").forEach((each) => {
                const rows = [...each.children].filter((one) => one.matches("tr, li, option"));
                rows.slice(20).forEach((row) => row.remove());
            })"""
        )

    def not_reached(self) -> list[str]:
        """What can be used but is not come to with Tab."""
        for _time in range(int(self.page.evaluate(f"() => {{ {TABBABLE} {LISTEN} }}"))):
            self.page.keyboard.press("Tab")
        return list(self.page.evaluate(f"() => {{ {TABBABLE} {LEFT} }}"))


TABBABLE = """function tabbable() {
    const groups = new Set();
    return [...document.querySelectorAll("a[href], button, input, select, textarea, summary, [role=button]")]
        .filter((each) => !each.disabled && each.type !== "hidden" && !each.closest("[aria-hidden=true]")
            && each.checkVisibility({visibilityProperty: true}))
        .filter((each) => {
            if (each.type !== "radio") return true;
            const group = [...document.querySelectorAll(`input[type=radio][name="${each.name}"]`)];
            const chosen = group.find((one) => one.checked);
            return chosen ? chosen === each : group[0] === each;
        });
}"""

LISTEN = """
    window.reached = new Set();
    document.addEventListener("focusin", (event) => window.reached.add(event.target), true);
    if (document.activeElement) document.activeElement.blur();
    // A date and a time are stopped at by part; a few more lead round from the end.
    const parts = document.querySelectorAll("input[type=date], input[type=month], input[type=time]").length;
    return tabbable().length + document.querySelectorAll("[tabindex='0']").length + 4 * parts + 4;
"""
LEFT = "return tabbable().filter((each) => !reached.has(each)).map((each) => each.outerHTML.slice(0, 120));"

SMALL = """(least) => {
    const inline = (each) => {
        if (each.tagName !== "A" || getComputedStyle(each).display !== "inline") return false;
        let around = each.parentElement;
        while (getComputedStyle(around).display === "inline") around = around.parentElement;
        return around.textContent.trim().length > each.textContent.trim().length;
    };
    return [...document.querySelectorAll("a[href], button, input, select, textarea, summary")]
        .filter((each) => each.type !== "hidden" && each.checkVisibility({visibilityProperty: true})
            && !each.closest("[aria-hidden=true]") && !each.matches(".skip") && !inline(each))
        .map((each) => {
            const ticked = ["checkbox", "radio"].includes(each.type) && each.labels.length;
            const box = (ticked ? each.labels[0] : each).getBoundingClientRect();
            return [each, Math.round(box.width), Math.round(box.height)];
        })
        .filter(([, width, height]) => width < least || height < least)
        .map(([each, width, height]) => `${width}x${height}: ${each.outerHTML.slice(0, 120)}`);
}"""


def settled(page: Page) -> None:
    """Wait until the page has what it asks for at once: the watch's bar among it."""
    page.wait_for_function(
        """() => !document.querySelector(".watch-bar")
            || performance.getEntriesByType("resource").some((each) => each.name.endsWith("/watch/"))"""
    )


def parts_of(path: str) -> str:
    """A file's name for an address."""
    return re.sub(r"\W+", "-", path).strip("-") or "home"
