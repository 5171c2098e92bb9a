"""Catalogues of words for riders: whole in every language, nothing doubtful, compiled as written."""

import re
from io import BytesIO
from pathlib import Path

import pytest
from babel.messages.mofile import read_mo, write_mo
from babel.messages.pofile import read_po
from django.conf import settings

LANGUAGES = [code for code, _name in settings.LANGUAGES if code != "en"]
PLACES = re.compile(r"%\(\w+\)s|\{\w*\}")


def path(code: str) -> Path:
    return Path(settings.LOCALE_PATHS[0]) / code / "LC_MESSAGES" / "django.po"


@pytest.mark.parametrize("code", LANGUAGES)
class TestACatalogue:
    def test_every_sentence_is_translated_and_none_is_doubtful(self, code: str) -> None:
        catalogue = read_po(BytesIO(path(code).read_bytes()), locale=code)

        assert len(catalogue) > 120
        assert [entry.id for entry in catalogue if entry.id and (not entry.string or entry.fuzzy)] == []

    def test_what_is_filled_in_is_the_same_in_both(self, code: str) -> None:
        catalogue = read_po(BytesIO(path(code).read_bytes()), locale=code)

        for entry in catalogue:
            if entry.id:
                assert sorted(PLACES.findall(str(entry.id))) == sorted(PLACES.findall(str(entry.string)))

    def test_it_is_compiled_as_it_is_written(self, code: str) -> None:
        again = BytesIO()
        write_mo(again, read_po(BytesIO(path(code).read_bytes()), locale=code))

        kept = read_mo(BytesIO(path(code).with_suffix(".mo").read_bytes()))
        again.seek(0)
        assert {entry.id: entry.string for entry in kept if entry.id} == {
            entry.id: entry.string for entry in read_mo(again) if entry.id
        }


@pytest.mark.parametrize("code", LANGUAGES)
def test_every_sentence_of_our_templates_is_in_it(code: str) -> None:
    catalogue = read_po(BytesIO(path(code).read_bytes()), locale=code)
    known = {entry.id for entry in catalogue}
    folder = Path(settings.BASE_DIR) / "rentals" / "home" / "templates"
    texts = [page.read_text() for page in [*folder.rglob("*.html"), *folder.rglob("*.txt")]]
    said = {word for text in texts for word in re.findall(r'{% translate "([^"]+)" %}', text)}
    filled = r"{% blocktranslate[^%]*%}(.*?){% endblocktranslate %}"
    said |= {
        re.sub(r"{{ (\w+) }}", r"%(\1)s", words)
        for text in texts
        for words in re.findall(filled, text, re.DOTALL)
    }

    assert len(said) > 100
    assert said - known == set()
