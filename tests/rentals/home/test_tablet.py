"""The waiver on the desk's tablet: who may read and sign it, in which words, and what stays out of reach."""

from datetime import datetime, timedelta
from urllib.parse import urlsplit

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import translation

from rentals.audit.models import Entry
from rentals.home import queries, services
from rentals.home.mapping import WAIVER
from rentals.home.models import Front, Signature
from rentals.lib import clock
from rentals.lib.problems import NotVisible
from rentals.people.models import Rider
from tests.rentals.browser import Form, protected, signed_in
from tests.rentals.walk import Walk

GUARDIAN = {
    "name": "Wren Alder",
    "relation": "mother",
    "phone": "0700 100 200",
    "agrees": "on",
    "consents": "on",
}


@pytest.fixture(autouse=True)
def _at(now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: now)


@pytest.fixture
def fern(cast: Walk) -> Rider:
    """Fourteen years old, nothing signed."""
    Rider.objects.filter(pk=cast.fern.pk).update(
        waiver_signed_at=None, guardian_consent_at=None, guardian_name="", guardian_phone=""
    )
    cast.fern.refresh_from_db()
    return cast.fern


def handed(cast: Walk, rider: Rider) -> tuple[Client, str]:
    """The tablet in a rider's hands: its browser, and the page it shows."""
    client = signed_in(cast.desk)
    gone = client.post(reverse("hand-over", args=[cast.tarrow.slug, rider.pk]))
    return client, str(gone.headers["Location"])


def sent(client: Client, place: str, **typed: str) -> dict[str, str]:
    return {"version": Form(client.get(place)).value("version"), **typed}


class TestHandingOver:
    def test_whoever_holds_the_tablet_is_signed_out_of_the_station(self, cast: Walk) -> None:
        client, place = handed(cast, cast.moss)

        for name in ("today", "riders", "station"):
            answer = client.get(reverse(name, args=[cast.tarrow.slug]))
            assert urlsplit(answer.headers["Location"]).path == reverse("sign-in")
        assert client.get(place).status_code == 200

    def test_the_browser_is_told_to_forget_the_pages_before(self, cast: Walk) -> None:
        gone = signed_in(cast.desk).post(reverse("hand-over", args=[cast.tarrow.slug, cast.moss.pk]))

        assert gone.headers["Clear-Site-Data"] == '"cache"'

    def test_the_page_shows_nothing_of_the_station_but_its_name(self, cast: Walk) -> None:
        client, place = handed(cast, cast.moss)
        answer = client.get(place)

        protected({**answer.headers, "Referrer-Policy": "same-origin"})
        assert answer.headers["Referrer-Policy"] == "no-referrer"
        assert "no-store" in answer.headers["Cache-Control"]
        page = Form(answer).page
        back = reverse("rider", args=[cast.tarrow.slug, cast.moss.pk])
        assert {str(link["href"]) for link in page.find_all("a")} == {
            "?in=en", "?in=de", "?in=es", "?in=fr", back,
        }  # fmt: skip
        assert page.find_all("script") == []
        assert "Ida" not in page.get_text()

    def test_handing_back_asks_staff_to_sign_in_and_brings_them_to_the_rider(self, cast: Walk) -> None:
        client, place = handed(cast, cast.moss)
        client.post(place, sent(client, place, name="Moss Hazel", agrees="on"))
        (back,) = Form(client.get(place)).page.find_all("a")

        asked = client.get(str(back["href"]))
        assert asked.headers["Location"] == f"{reverse('sign-in')}?next={back['href']}"

    def test_a_rider_of_elsewhere_is_not_found(self, cast: Walk) -> None:
        address = reverse("hand-over", args=[cast.tarrow.slug, cast.moss.pk])

        assert signed_in(cast.neighbour).post(address).status_code == 404
        assert signed_in(cast.desk).post(reverse("hand-over", args=[cast.tarrow.slug, 0])).status_code == 404


class TestTheSecret:
    def test_it_is_over_after_half_an_hour(self, cast: Walk, monkeypatch: pytest.MonkeyPatch) -> None:
        client, place = handed(cast, cast.moss)
        monkeypatch.setattr(clock, "now", lambda: cast.now + timedelta(minutes=31))
        answer = client.get(place)

        assert answer.status_code == 404
        assert "hand the tablet back" in answer.content.decode()
        assert "Moss" not in answer.content.decode()

    def test_one_that_was_altered_is_none(self, cast: Walk) -> None:
        client, place = handed(cast, cast.moss)

        assert client.get(place[:-3] + "xx/").status_code == 404

    def test_it_opens_at_its_own_station_only(self, cast: Walk) -> None:
        token = queries.token_of(cast.moss, cast.actor(cast.desk), now=cast.now)

        with pytest.raises(NotVisible):
            queries.handed_over(cast.kettle.slug, token, now=cast.now)

    def test_when_the_colleague_works_here_no_longer_nothing_is_signed(self, cast: Walk) -> None:
        client, place = handed(cast, cast.moss)
        typed = sent(client, place, name="Moss Hazel", agrees="on")
        cast.desk.delete()

        assert client.post(place, typed).status_code == 404
        assert not Signature.objects.exists()


class TestSigning:
    def test_version_language_time_and_who_was_at_the_desk_are_kept(self, cast: Walk) -> None:
        client, place = handed(cast, cast.moss)
        german = f"{place}?in=de"
        client.post(german, sent(client, german, name="  Moss   Hazel ", agrees="on"))

        kept = Signature.objects.get(rider=cast.moss)
        assert (kept.what, kept.version, kept.language, kept.name, kept.signed_at, kept.at_desk) == (
            "waiver", "2026-1", "de", "Moss Hazel", cast.now, cast.desk,
        )  # fmt: skip
        cast.moss.refresh_from_db()
        assert cast.moss.waiver_signed_at == cast.now
        line = Entry.objects.filter(subject_kind="rider", subject_id=cast.moss.pk).latest("id")
        assert (line.actor, line.text) == (cast.desk, "Waiver signed on the tablet, version 2026-1, de")

    def test_the_house_rules_are_shown_and_count_for_the_version(self, cast: Walk) -> None:
        Front.objects.create(station=cast.tarrow, phone="0700 1", house_rules="No sailing past the reef.")
        client, place = handed(cast, cast.moss)
        page = client.get(place).content.decode()
        client.post(place, sent(client, place, name="Moss Hazel", agrees="on"))

        assert "No sailing past the reef." in page
        assert Signature.objects.get().version == queries.text_version("No sailing past the reef.")

    def test_a_text_changed_while_it_was_read_is_read_again(self, cast: Walk) -> None:
        client, place = handed(cast, cast.moss)
        typed = sent(client, place, name="Moss Hazel", agrees="on")
        Front.objects.create(station=cast.tarrow, phone="0700 1", house_rules="No sailing past the reef.")
        answer = client.post(place, typed)

        assert (answer.status_code, Signature.objects.count()) == (409, 0)
        assert "Please read it again" in answer.content.decode()
        assert Form(answer).value("version") != typed["version"]

    def test_a_second_tap_signs_nothing_twice(self, cast: Walk) -> None:
        client, place = handed(cast, cast.moss)
        typed = sent(client, place, name="Moss Hazel", agrees="on")
        first, again = (client.post(place, typed) for _tap in range(2))

        assert (first.status_code, again.status_code, Signature.objects.count()) == (302, 302, 1)

    @pytest.mark.parametrize(
        ("typed", "field", "said"),
        [
            ({"agrees": "on"}, "name", "This is needed."),
            ({"name": "   ", "agrees": "on"}, "name", "This is needed."),
            ({"name": "Moss Hazel"}, "agrees", "This is needed."),
        ],
    )
    def test_without_name_or_tick_nothing_is_signed(
        self, cast: Walk, typed: dict[str, str], field: str, said: str
    ) -> None:
        client, place = handed(cast, cast.moss)
        answer = client.post(place, sent(client, place, **typed))

        assert (answer.status_code, Form(answer).said(field)) == (422, said)
        assert Form(answer).value("name") == typed.get("name", "")
        assert not Signature.objects.exists()


class TestAMinor:
    def test_a_guardian_signs_with_relation_and_phone(self, cast: Walk, fern: Rider) -> None:
        client, place = handed(cast, fern)
        client.post(place, sent(client, place, **GUARDIAN))

        kept = Signature.objects.filter(rider=fern).order_by("what")
        assert [(each.what, each.name, each.relation, each.at_desk) for each in kept] == [
            ("guardian", "Wren Alder", "mother", cast.desk),
            ("waiver", "Wren Alder", "mother", cast.desk),
        ]
        fern.refresh_from_db()
        assert (fern.guardian_name, fern.guardian_phone) == ("Wren Alder", "0700 100 200")
        assert fern.guardian_consent_at == fern.waiver_signed_at == cast.now

    @pytest.mark.parametrize("missing", GUARDIAN)
    def test_nothing_of_it_may_be_missing(self, cast: Walk, fern: Rider, missing: str) -> None:
        client, place = handed(cast, fern)
        typed = {name: value for name, value in GUARDIAN.items() if name != missing}
        answer = client.post(place, sent(client, place, **typed))

        assert answer.status_code == 422
        assert "This is needed." in answer.content.decode()
        assert not Signature.objects.exists()

    @pytest.mark.parametrize("missing", ["name", "relation", "phone"])
    def test_the_service_has_the_last_word(self, cast: Walk, fern: Rider, missing: str) -> None:
        whole = {"name": "Wren Alder", "relation": "mother", "phone": "0700 100 200"}
        signed = services.Signed(version="2026-1", language="en", **{**whole, missing: " "})

        with pytest.raises(services.UnableToSign) as refused:
            services.sign_at_desk(
                actor=cast.boss, rider_id=fern.pk, signed=signed, handed_at=cast.now, now=cast.now
            )
        assert set(refused.value.fields) == {missing}


class TestLanguages:
    @pytest.mark.parametrize("code", ["en", "de", "es", "fr"])
    def test_the_whole_text_is_read_in_the_language_chosen(self, cast: Walk, code: str) -> None:
        client, place = handed(cast, cast.moss)
        page = Form(client.get(f"{place}?in={code}")).page

        with translation.override(code):
            said = [str(words) for words in WAIVER]
        assert page.html["lang"] == code  # type: ignore[index]
        assert [each.get_text() for each in page.select("ol.waiver li")] == said

    def test_without_a_choice_it_follows_the_browser(self, cast: Walk) -> None:
        client, place = handed(cast, cast.moss)
        page = Form(client.get(place, headers={"accept-language": "fr-CH,fr;q=0.9"})).page

        assert page.html["lang"] == "fr"  # type: ignore[index]

    def test_a_language_that_is_none_of_ours_is_no_choice(self, cast: Walk) -> None:
        client, place = handed(cast, cast.moss)

        assert Form(client.get(f"{place}?in=xx")).page.html["lang"] == "en"  # type: ignore[index]
