"""Catalogues of words for riders: whole in every language, nothing doubtful, compiled as written."""

import ast
import re
from collections.abc import Iterator
from functools import cache
from io import BytesIO
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog
from babel.messages.mofile import read_mo, write_mo
from babel.messages.pofile import read_po
from django.conf import settings
from django.template import Template
from django.templatetags.i18n import BlockTranslateNode, TranslateNode
from django.utils.translation import trim_whitespace

from rentals.stations.models import LEVELS

LANGUAGES = [code for code, _name in settings.LANGUAGES if code != "en"]
PLACES = re.compile(r"%\(\w+\)s|\{\w*\}")
CALLS = {"_", "gettext", "gettext_lazy", "ngettext", "ngettext_lazy"}
OURS = Path(settings.BASE_DIR) / "rentals"
RIDERS_READ = ("home/templates", "lessons/templates", "templates")
"""Rooms of pages and letters that riders read; those of staff among them mark nothing for translation."""


def path(code: str) -> Path:
    return Path(settings.LOCALE_PATHS[0]) / code / "LC_MESSAGES" / "django.po"


def catalogue(code: str) -> Catalog:
    return read_po(BytesIO(path(code).read_bytes()), locale=code)


def said_in(template: Path) -> Iterator[str]:
    """Every sentence that a template marks for translation, with both forms of those that count."""
    nodes = Template(template.read_text()).nodelist
    for node in nodes.get_nodes_by_type(TranslateNode):
        assert isinstance(node, TranslateNode)
        if isinstance(literal := node.filter_expression.var.literal, str):
            yield str(literal)
    for node in nodes.get_nodes_by_type(BlockTranslateNode):
        assert isinstance(node, BlockTranslateNode)
        for tokens in filter(None, (node.singular, node.plural)):
            words, _places = node.render_token_list(tokens)
            yield trim_whitespace(words) if node.trimmed else words


def said_by(module: Path) -> Iterator[str]:
    """Every sentence that a module marks for translation, those within f-strings too."""
    for node in ast.walk(ast.parse(module.read_text())):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in CALLS:
            words = [each.value for each in node.args if isinstance(each, ast.Constant)]
            yield from (str(each) for each in words if isinstance(each, str))


@cache
def said() -> dict[str, str]:
    """Every sentence for riders, by where it is said: marked in templates, or in the code behind them."""
    found = {
        words: template.name
        for room in RIDERS_READ
        for template in sorted((OURS / room).rglob("*.*"))
        for words in said_in(template)
    }
    for module in sorted(OURS.rglob("*.py")):
        found |= dict.fromkeys(said_by(module), module.name)
    return found


@pytest.mark.parametrize("code", LANGUAGES)
class TestACatalogue:
    def test_every_sentence_for_riders_is_in_it(self, code: str) -> None:
        known = {words for entry in catalogue(code) for words in _forms(entry.id)}

        assert len(said()) > 200
        assert {words: place for words, place in said().items() if words not in known} == {}

    def test_nothing_in_it_is_said_no_longer(self, code: str) -> None:
        ids = {_forms(entry.id)[0] for entry in catalogue(code) if entry.id}

        # Levels are said by their own names, which no page spells out.
        assert ids - said().keys() - {level for level, _name in LEVELS} == set()

    def test_every_sentence_is_translated_and_none_is_doubtful(self, code: str) -> None:
        entries = [entry for entry in catalogue(code) if entry.id]

        assert [entry.id for entry in entries if not all(_forms(entry.string)) or entry.fuzzy] == []

    def test_what_is_filled_in_is_the_same_in_both(self, code: str) -> None:
        for entry in catalogue(code):
            wanted = sorted(PLACES.findall(_forms(entry.id)[-1]))
            for words in _forms(entry.string) if entry.id else ():
                assert sorted(PLACES.findall(words)) == wanted, words

    def test_it_is_compiled_as_it_is_written(self, code: str) -> None:
        again = BytesIO()
        write_mo(again, catalogue(code))

        kept = read_mo(BytesIO(path(code).with_suffix(".mo").read_bytes()))
        again.seek(0)
        assert {entry.id: entry.string for entry in kept if entry.id} == {
            entry.id: entry.string for entry in read_mo(again) if entry.id
        }


def _forms(words: object) -> tuple[str, ...]:
    return tuple(map(str, words)) if isinstance(words, (tuple, list)) else (str(words),)
