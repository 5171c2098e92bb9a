"""What is noted on a job: lines with costs, workshops, photos without metadata; what blocks first."""

from datetime import timedelta
from decimal import Decimal
from io import BytesIO
from typing import Any
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image
from pytest_django import DjangoAssertNumQueries

from rentals.bench import queries
from rentals.bench.formats.photos import LARGEST_BYTES, LONGEST_EDGE, UnreadablePicture, small_jpeg
from rentals.bench.models import Job, JobLine, Photo
from rentals.bench.services import MOST_PHOTOS, JobMovedOn, Note, UnableToMend, add_photo, note_job
from rentals.lib import clock
from rentals.stations.models import Station
from tests.rentals.browser import Form, protected, signed_in
from tests.rentals.walk import DAY, Walk


def note(cast: Walk, job: Job, **values: Any) -> JobLine:
    usual: dict[str, Any] = {"kind": "parts", "text": "New clamp", "cost": Decimal("38.5")}
    return note_job(actor=cast.jory, job_id=job.pk, note=Note(**{**usual, **values}), now=cast.now)


def picture(size: tuple[int, int] = (40, 30), form: str = "JPEG", **saved: Any) -> bytes:
    """A red picture whose top left corner is blue."""
    made = Image.new("RGB", size, "red")
    made.paste("blue", (0, 0, size[0] // 4, size[1] // 4))
    written = BytesIO()
    made.save(written, form, **saved)
    return written.getvalue()


class TestLines:
    def test_minutes_and_costs_add_up_in_the_stations_currency(self, cast: Walk) -> None:
        Station.objects.filter(pk=cast.tarrow.pk).update(currency="DKK")
        job = cast.faulty("B1")
        note(cast, job)
        note(cast, job, kind="work", text="Fitted it", minutes=20, cost=Decimal(10))

        found = queries.job_for(cast.boss, cast.tarrow, job.pk)

        assert found.minutes == 20
        assert found.costs == ((Decimal("48.50"), "DKK"),)
        assert cast.told("item", job.item_id)[0] == "Work: Fitted it, 10.00 DKK"

    def test_a_workshop_says_when_it_gives_it_back(self, cast: Walk) -> None:
        job, back = cast.faulty("M1"), cast.now.date() + timedelta(days=9)
        note(cast, job, kind="workshop", text="Spar workshop", cost=None, due_on=back)

        workshop = queries.job_for(cast.boss, cast.tarrow, job.pk).workshop

        assert workshop is not None
        assert (workshop.text, workshop.due_on) == ("Spar workshop", back)

    @pytest.mark.parametrize(
        ("field", "values"),
        [
            ("kind", {"kind": "gossip"}),
            ("text", {"text": " "}),
            ("minutes", {"minutes": 6001}),
            ("cost", {"cost": Decimal("-0.01")}),
            ("cost", {"cost": Decimal("NaN")}),
            ("cost", {"cost": Decimal(100_000)}),
            ("due_on", {"kind": "workshop"}),
        ],
    )
    def test_what_cannot_be_is_said_beside_its_field(
        self, cast: Walk, field: str, values: dict[str, Any]
    ) -> None:
        job = cast.faulty("B1")

        with pytest.raises(UnableToMend) as refusal:
            note(cast, job, **values)

        assert set(refusal.value.fields) == {field}

    @pytest.mark.parametrize("ago", [1, 400])
    def test_a_workshop_gives_nothing_back_in_the_past(self, cast: Walk, ago: int) -> None:
        due_on = cast.now.date() - timedelta(days=ago)

        with pytest.raises(UnableToMend) as refusal:
            note(cast, cast.faulty("B1"), kind="workshop", due_on=due_on)

        assert set(refusal.value.fields) == {"due_on"}

    def test_a_finished_job_is_closed(self, cast: Walk) -> None:
        job = cast.release(cast.mend(cast.faulty("B1")))

        with pytest.raises(JobMovedOn, match="new fault"):
            note(cast, job)

    def test_sent_twice_it_is_noted_once(self, cast: Walk) -> None:
        job, key = cast.faulty("B1"), uuid4()
        for _time in range(2):
            note_job(
                actor=cast.jory,
                job_id=job.pk,
                note=Note(kind="work", text="Fitted it"),
                once=key,
                now=cast.now,
            )

        assert JobLine.objects.count() == 1


class TestPictures:
    @pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
    def test_it_becomes_a_jpeg_whatever_it_was(self, form: str) -> None:
        made = small_jpeg(picture(form=form))

        assert Image.open(BytesIO(made.content)).format == "JPEG"
        assert (made.width, made.height) == (40, 30)

    def test_where_and_when_it_was_taken_is_not_kept(self) -> None:
        exif = Image.Exif()
        # Exif 2.32: 0x010F make, 0x0132 date and time, 0x8825 GPS, in it 1 latitude reference
        exif[0x010F], exif[0x0132] = "Harebell", "2027:07:14 10:00:00"
        exif.get_ifd(0x8825)[1] = "N"
        sent = picture(exif=exif, comment=b"Ida's phone", icc_profile=b"x" * 200)
        assert b"Harebell" in sent

        kept = Image.open(BytesIO(small_jpeg(sent).content))

        assert len(kept.getexif()) == 0
        assert not {"exif", "comment", "icc_profile", "xmp"} & set(kept.info)
        assert b"Harebell" not in small_jpeg(sent).content

    def test_it_is_turned_upright(self) -> None:
        exif = Image.Exif()
        exif[0x0112] = 6  # Exif 2.32: turn by 90 degrees clockwise to see it upright

        made = small_jpeg(picture((400, 200), exif=exif))

        assert (made.width, made.height) == (200, 400)
        red, _green, blue = Image.open(BytesIO(made.content)).getpixel((190, 10))  # type: ignore[misc]
        assert blue > red

    def test_it_is_made_small(self) -> None:
        made = small_jpeg(picture((4000, 3000)))

        assert (made.width, made.height) == (LONGEST_EDGE, 1200)

    @pytest.mark.parametrize(
        "content",
        [
            pytest.param(b"", id="nothing"),
            pytest.param(b"GIF89a" + bytes(40), id="another form"),
            pytest.param(b"<svg xmlns='http://www.w3.org/2000/svg'/>", id="a drawing"),
            pytest.param(b"%PDF-1.4 ...", id="a document"),
            pytest.param(picture()[:200], id="cut short"),
            pytest.param(bytes(LARGEST_BYTES + 1), id="too large"),
            pytest.param(picture((8000, 8000), "PNG"), id="too many pixels"),
        ],
    )
    def test_what_is_no_picture_is_refused_with_what_to_send(self, content: bytes) -> None:
        with pytest.raises(UnreadablePicture, match="Send a picture"):
            small_jpeg(content)


class TestPhotos:
    @pytest.fixture(autouse=True)
    def _at(self, cast: Walk, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(clock, "now", lambda: cast.now)

    def test_a_job_holds_so_many_and_no_more(self, cast: Walk) -> None:
        job = cast.faulty("B1")
        for number in range(MOST_PHOTOS):
            add_photo(actor=cast.ida, job_id=job.pk, content=picture((40, 30 + number)), now=cast.now)

        with pytest.raises(UnableToMend) as refusal:
            add_photo(actor=cast.ida, job_id=job.pk, content=picture(), now=cast.now)

        assert set(refusal.value.fields) == {"photo"}
        assert Photo.objects.count() == MOST_PHOTOS

    def test_it_is_sent_as_an_image_and_nothing_else(self, cast: Walk) -> None:
        job = cast.faulty("B1")
        photo = add_photo(actor=cast.ida, job_id=job.pk, content=picture(), now=cast.now)
        url = reverse("photo", args=[cast.tarrow.slug, photo.pk])

        answer = signed_in(cast.desk).get(url)

        assert (answer.status_code, answer["Content-Type"]) == (200, "image/jpeg")
        assert answer["Cache-Control"].startswith("private")
        assert answer["Content-Disposition"].startswith("inline")
        protected(answer.headers)

    def test_from_elsewhere_there_is_no_such_photo(self, cast: Walk) -> None:
        job = cast.faulty("B1")
        photo = add_photo(actor=cast.ida, job_id=job.pk, content=picture(), now=cast.now)
        cast.kettle  # noqa: B018 - the other station must be there

        here, there = (reverse("photo", args=[each.slug, photo.pk]) for each in (cast.tarrow, cast.kettle))

        assert signed_in(cast.neighbour).get(here).status_code == 404
        assert signed_in(cast.neighbour).get(there).status_code == 404
        assert signed_in(cast.instructor).get(there).status_code == 404


class TestOrder:
    def test_what_blocks_tomorrow_comes_first_then_the_oldest(self, cast: Walk) -> None:
        cast.kitted(hour=14)
        for tag in ("B2", "M1", "T2"):
            cast.faulty(tag)
            cast.now += timedelta(minutes=1)

        listed = queries.jobs_at(cast.tarrow, now=cast.now)

        assert [each.job.item.tag for each in listed] == ["M1", "B2", "T2"]
        assert [each.needed_at for each in listed] == [cast.at(14), None, None]

    def test_what_is_promised_later_does_not_press(self, cast: Walk) -> None:
        cast.kitted(hour=14)
        cast.faulty("M1")

        (listed,) = queries.jobs_at(cast.tarrow, now=cast.now - 2 * DAY)

        assert listed.needed_at is None

    def test_a_longer_bench_asks_no_more(
        self, cast: Walk, django_assert_num_queries: DjangoAssertNumQueries
    ) -> None:
        for tags in (["B1"], ["B2", "M1", "T2"]):
            for tag in tags:
                note(cast, cast.faulty(tag))
            with django_assert_num_queries(3):
                queries.jobs_at(cast.tarrow, now=cast.now)


class TestPage:
    @pytest.fixture(autouse=True)
    def _at(self, cast: Walk, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(clock, "now", lambda: cast.now)

    def test_a_line_is_noted_and_a_photo_added(self, cast: Walk) -> None:
        job = cast.faulty("B1")
        jory, url = signed_in(cast.instructor), reverse("job", args=[cast.tarrow.slug, job.pk])
        sent = SimpleUploadedFile("clamp.png", picture(form="PNG"), "image/png")

        assert (
            jory.post(url, {"which": "note", "kind": "parts", "text": "Clamp", "cost": "38,50"}).status_code
            == 302
        )
        assert jory.post(url, {"which": "photo", "photo": sent}).status_code == 302

        page = jory.get(url).content.decode()
        assert "38.50 EUR" in page
        assert reverse("photo", args=[cast.tarrow.slug, Photo.objects.get().pk]) in page

    def test_what_is_wrong_is_said_beside_and_nothing_is_lost(self, cast: Walk) -> None:
        job = cast.faulty("B1")
        jory, url = signed_in(cast.instructor), reverse("job", args=[cast.tarrow.slug, job.pk])

        answer = jory.post(url, {"which": "note", "kind": "workshop", "text": "Spar workshop"})

        assert answer.status_code == 422
        assert Form(answer).said("due_on").startswith("Enter the day")
        assert Form(answer).value("text") == "Spar workshop"

    def test_a_file_that_is_no_picture_is_refused(self, cast: Walk) -> None:
        job = cast.faulty("B1")
        sent = SimpleUploadedFile("clamp.jpg", b"<script>", "image/jpeg")

        url = reverse("job", args=[cast.tarrow.slug, job.pk])
        answer = signed_in(cast.instructor).post(url, {"which": "photo", "photo": sent})

        assert answer.status_code == 422
        assert "this file is none" in Form(answer).said("photo")
