"""What a browser at home gets: open pages without names, secret pages with care, and nothing typed lost."""

import re
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser
from urllib.parse import urljoin, urlsplit

import pytest
from django.test import Client

from rentals.bookings.models import Party
from rentals.home import queries, services
from rentals.home.models import Front, Guest, Link
from rentals.lessons import services as lessons
from rentals.people.models import Rider
from tests.rentals.browser import Form, protected, signed_in
from tests.rentals.home.house import HOME, PUPIL, House, place
from tests.rentals.lessons.school import School, facts

LOOK = {"half": "afternoon", "hours": "2", "r0-mass_kg": "72", "r0-level": "advanced"}


class TestTheOpenPage:
    def test_it_needs_no_sign_in_and_protects_who_looks(self, house: House, client: Client) -> None:
        page = client.get(place(house, "front"))

        assert page.status_code == 200
        protected(page.headers)
        assert page.headers["Cache-Control"] == "no-store"

    def test_a_closed_page_looks_like_none(self, house: House, client: Client) -> None:
        open_at = place(house, "front")
        Front.objects.update(is_open=False)

        closed, nowhere = client.get(open_at), client.get("/visit/nowhere/")

        assert (closed.status_code, nowhere.status_code) == (404, 404)
        assert house.cast.tarrow.name not in closed.content.decode()

    def test_it_says_what_can_be_promised_and_never_how_much_there_is(
        self, house: House, client: Client
    ) -> None:
        page = client.get(place(house, "front"), {**LOOK, "day": f"{house.cast.now:%Y-%m-%d}"})

        said = re.sub(r"<[^>]+>", " ", page.content.decode().partition('id="times"')[2])
        assert "A rig for each of you, whether the wind comes lighter or stronger than forecast." in said
        assert "Book 14:00" in said
        for item in house.cast.shed.values():
            assert item.model.name not in said
            assert not re.search(rf"\b{item.tag}\b", said)

    def test_times_before_the_earliest_start_are_not_offered(self, house: House, client: Client) -> None:
        """At ten, with an hour's notice, eleven is the first. Closing is at seven, so five is the last."""
        asked = {"day": f"{house.cast.now:%Y-%m-%d}", **LOOK}

        morning = client.get(place(house, "front"), {**asked, "half": "morning"}).content.decode()
        afternoon = client.get(place(house, "front"), asked).content.decode()

        assert re.findall(r"(?:Book|Wait for) (\d\d:\d\d)", morning) == ["11:00"]
        assert re.findall(r"(?:Book|Wait for) (\d\d:\d\d)", afternoon) == [
            f"{hour}:00" for hour in range(12, 18)
        ]

    def test_a_weight_that_cannot_be_is_said_beside_its_field(self, house: House, client: Client) -> None:
        page = client.get(
            place(house, "front"), {**LOOK, "day": f"{house.cast.now:%Y-%m-%d}", "r0-mass_kg": "7"}
        )

        assert page.status_code == 422
        assert Form(page).said("r0-mass_kg") == "Enter a number between 20 and 160 kg."


class TestTheForm:
    def test_a_whole_form_leads_to_the_partys_own_page(self, house: House, client: Client) -> None:
        sent = client.post(place(house, "front-book"), house.typed())

        assert sent.status_code == 302
        seen = client.get(sent.headers["Location"])
        assert "Ada Brill" in seen.content.decode()
        assert "You are booked" in seen.content.decode()

    def test_a_form_sent_twice_books_once(self, house: House, client: Client) -> None:
        typed = house.typed()

        first, again = (client.post(place(house, "front-book"), typed) for _tap in range(2))

        assert (first.status_code, again.status_code) == (302, 302)
        assert Guest.objects.count() == 1

    def test_who_comes_too_late_keeps_what_they_typed_and_may_wait(
        self, house: House, client: Client
    ) -> None:
        house.cast.blow(mean_ms=19.0, gust_ms=24.0)
        typed = house.typed(note="We bring cake")

        page = client.post(place(house, "front-book"), typed)

        assert page.status_code == 409
        form = Form(page)
        for name in ("contact_name", "contact_email", "note", "once", "riders-0-name", "riders-0-mass_kg"):
            assert form.value(name) == typed[name]
        assert form.ticked("riders-0-waiver")
        waits = client.post(place(house, "front-book"), {**typed, "wait": "1"})
        assert "You are on the waiting list" in client.get(waits.headers["Location"]).content.decode()

    def test_one_more_rider_keeps_what_was_typed(self, house: House, client: Client) -> None:
        typed = house.typed(contact_name="Ada")

        page = client.post(place(house, "front-book"), {**typed, "more": "1"})

        form = Form(page)
        assert form.value("riders-0-name") == "Ada Brill"
        assert form.value("contact_name") == "Ada"
        assert form.value("riders-1-name") == ""
        assert not Guest.objects.exists()

    def test_a_child_needs_a_guardian(self, house: House, client: Client) -> None:
        page = client.post(place(house, "front-book"), {**house.typed(), "riders-0-born_on": "2014-05-05"})

        assert page.status_code == 422
        assert Form(page).said("riders-0-guardian_name") == "Needed for a rider under 18."

    def test_what_is_missing_is_said_beside_its_field(self, house: House, client: Client) -> None:
        typed = {**house.typed(), "contact_email": "", "riders-0-name": ""}
        del typed["privacy"]

        form = Form(client.post(place(house, "front-book"), typed))

        assert form.said("contact_email") == "This is needed."
        assert form.said("riders-0-name") == "This is needed."
        assert form.said("privacy") == "This is needed."

    def test_after_too_many_tries_it_says_whom_to_call_and_keeps_what_was_typed(
        self, house: House, client: Client
    ) -> None:
        wrong = house.typed(day="2020-01-01")
        for _try in range(services.POSTS.most):
            assert client.post(place(house, "front-book"), wrong).status_code == 422

        page = client.post(place(house, "front-book"), house.typed(contact_name="Ada B"))

        assert page.status_code == 429
        assert "0700 888 000" in page.content.decode()
        assert Form(page).value("contact_name") == "Ada B"
        assert not Guest.objects.exists()


class TestTheSecretLink:
    @pytest.fixture
    def link(self, house: House) -> str:
        return place(house, "visit", house.token(house.book()))

    def test_it_is_kept_nowhere_named_to_nobody_and_not_found_by_search(
        self, link: str, client: Client
    ) -> None:
        headers = client.get(link).headers

        assert headers["Cache-Control"] == "no-store, private"
        assert headers["Referrer-Policy"] == "no-referrer"
        assert headers["X-Robots-Tag"] == "noindex, nofollow"

    def test_its_token_holds_256_bits_and_the_row_only_its_digest(self, house: House) -> None:
        token = house.token(house.book())

        assert len(token) == 43  # 32 octets in base64url without padding: RFC 4648, section 5
        assert token not in str(list(Link.objects.values()))

    def test_a_wrong_link_opens_nothing(self, house: House, link: str, client: Client) -> None:
        page = client.get(place(house, "visit", "A" * 43))

        assert page.status_code == 404
        assert "Ada" not in page.content.decode()

    def test_a_link_opens_nothing_at_another_station(self, house: House, link: str, client: Client) -> None:
        services.open_front(
            actor=house.cast.rhys,
            station_id=house.cast.kettle.pk,
            facts=services.FrontFacts(is_open=True, phone="0700 1"),
            now=house.cast.now,
        )

        assert client.get(link.replace("tarrow-lagoon", "kettle-bay")).status_code == 404

    def test_it_moves_the_booking(self, house: House, link: str, client: Client) -> None:
        sent = client.post(
            f"{link}move/", {"day": f"{house.cast.now:%Y-%m-%d}", "starts_at": "16:00", "hours": "2"}
        )

        assert sent.status_code == 302
        assert "16:00–18:00" in client.get(link).content.decode()

    def test_it_cancels_the_booking_though_the_browser_names_no_origin(self, house: House, link: str) -> None:
        """A page that sends no referrer posts with `Origin: null` (Fetch standard, 3.1)."""
        strict = Client(enforce_csrf_checks=True)

        sent = strict.post(f"{link}leave/", headers={"Origin": "null"})

        assert sent.status_code == 302
        assert "Your booking is cancelled" in strict.get(link).content.decode()

    def test_looking_changes_nothing(self, house: House, link: str, client: Client) -> None:
        """Programs that check mail for danger follow every link in it. Common practice, no source."""
        for name in ("leave/", "take/"):
            assert client.get(f"{link}{name}").status_code == 405

    def test_withdrawn_links_open_nothing(self, house: House, link: str, client: Client) -> None:
        services.revoke_links(actor=house.cast.ida, guest_id=Guest.objects.get().pk, now=house.cast.now)

        assert client.get(link).status_code == 404


class Links(HTMLParser):
    """The addresses that a page leads to, form actions too."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: set[str] = set()
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found |= {value for name, value in attrs if name in ("href", "action") and value}


class TestACrawl:
    def crawled(self, house: House, client: Client, *starts: str) -> dict[str, str]:
        """Every page that somebody without a link reaches, by its address."""
        seen: dict[str, str] = {}
        to_see = list(starts)
        while to_see and len(seen) < 100:
            address = to_see.pop()
            page = client.get(address).content.decode(errors="ignore")
            seen[address] = page
            for found in Links(page).found:
                target = urlsplit(urljoin(address, found))
                whole = target.path + (f"?{target.query}" if target.query else "")
                if not target.netloc and not target.path.startswith("/static/") and whole not in seen:
                    to_see.append(whole)
        return seen

    def test_nobody_is_seen_without_a_link(self, house: House, client: Client) -> None:
        """Names, birth dates, addresses and numbers of riders, guardians and parties, minors among them."""
        guest, school = house.book(), School(house.cast)
        services.join_queue(
            actor=HOME, front_id=house.front.pk, asked=house.asked(hour=16), now=house.cast.now
        )
        lesson = school.lesson(seats=6)
        child = facts(
            "Tansy Rowan", born_on=date(2014, 3, 9), guardian_name="Sedge Rowan", guardian_phone="0711"
        )
        house.take(lesson, replace(PUPIL, name="Bo Brill"))
        school.enrol(lesson, child, facts("Teasel Rowan"), note="Shy child")
        feed = lessons.make_feed(
            actor=house.cast.ida, station_id=house.cast.tarrow.pk, user_id=None, now=house.cast.now
        )
        link, day = house.token(guest), f"{house.cast.now:%Y-%m-%d}"
        front, offers = place(house, "front"), place(house, "front-lessons")

        seen = self.crawled(
            house,
            client,
            front,
            f"{front}?day={day}&r0-mass_kg=72&half=afternoon&hours=2",
            f"{offers}?day={day}",
            "/api/v1/from-home/tarrow-lagoon/",
            f"/api/v1/from-home/tarrow-lagoon/lessons/?day={day}",
        )

        assert place(house, "front-lesson", lesson.pk) in seen
        assert "First steps" in seen[f"{offers}?day={day}"]
        told = {
            *(word for rider in Rider.objects.all() for word in told_of(rider)),
            *(party.contact_name for party in Party.objects.all()),
            *(party.contact_email for party in Party.objects.all()),
            link, feed.token, "Brill", "Rowan", "Shy child",
        } - {""}  # fmt: skip
        assert len(told) > 15
        for address, page in seen.items():
            assert [word for word in told if word in page] == [], address


def told_of(rider: Rider) -> set[str]:
    """What may be seen of a rider by nobody without a link."""
    dates = {f"{rider.born_on:{form}}" for form in ("%Y-%m-%d", "%-d %b %Y", "%Y%m%d")}
    return {rider.name, rider.guardian_name, rider.guardian_phone, *dates}


class TestTheStaffsPage:
    def test_it_shows_who_booked_and_whose_letter_came_back(self, house: House) -> None:
        guest = house.book()
        letter = house.letters(guest)[0]
        letter.bounced_at, letter.error = house.cast.now, "550 no such mailbox"
        letter.save()

        page = signed_in(house.cast.desk).get(place(house, "from-home")).content.decode()

        assert "Ada Brill" in page
        assert "came back" in page
        assert "550 no such mailbox" in page

    def test_the_outing_says_that_a_letter_came_back(self, house: House) -> None:
        guest = house.book()
        letter = house.letters(guest)[0]
        letter.bounced_at, letter.error = house.cast.now, "550 no such mailbox"
        letter.save()

        outing = place(house, "outing", house.outings(guest)[0].pk)
        page = signed_in(house.cast.desk).get(outing).content.decode()

        assert "came back" in page
        assert "550 no such mailbox" in page

    def test_the_outbox_shows_each_letter_and_those_that_were_lost_alone(self, house: House) -> None:
        lost, went = (house.letters(house.book(hour=hour))[0] for hour in (11, 16))
        lost.bounced_at, lost.error = house.cast.now, "550 no such mailbox"
        lost.save()
        client = signed_in(house.cast.desk)

        everything = client.get(place(house, "outbox")).content.decode()
        alone = client.get(place(house, "outbox"), {"lost": "1"}).content.decode()

        assert everything.count(went.subject) == 2
        assert alone.count(went.subject) == 1
        assert "550 no such mailbox" in alone
        assert not queries.outbox(house.cast.kettle, now=house.cast.now)

    def test_the_manager_opens_the_page(self, house: House) -> None:
        typed = {"is_open": "on", "phone": "0700 1", "language": "de", "days_ahead": "9", "lead_min": "30"}
        more = {"change_until_min": "60", "offer_min": "20", "greeting": "", "house_rules": ""}

        signed_in(house.cast.manager).post(place(house, "from-home"), {**typed, **more})

        assert (house.front.language, house.front.days_ahead, house.front.offer_min) == ("de", 9, 20)

    def test_numbers_that_cannot_be_are_said_beside_their_fields(self, house: House) -> None:
        typed = {"phone": "0700 1", "language": "de", "days_ahead": "900", "lead_min": "30"}

        page = signed_in(house.cast.manager).post(
            place(house, "from-home"), {**typed, "change_until_min": "60", "offer_min": "20"}
        )

        assert Form(page).said("days_ahead") == "Enter a number from 1 to 60."

    def test_who_may_not_set_the_rules_sees_no_form(self, house: House) -> None:
        page = signed_in(house.cast.instructor).get(place(house, "from-home")).content.decode()

        assert "Rules of the page" not in page
