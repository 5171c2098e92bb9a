"""Bad input at every form: said beside its field, nothing typed lost, nothing kept."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from rentals.afloat.models import BeachLog, LaunchCheck
from rentals.bench.models import Job, ReturnCheck
from rentals.bookings.models import Booking, KitPart, Outing
from rentals.lib import clock
from rentals.people.models import Rider
from rentals.weather.models import Run
from tests.rentals.browser import Form, signed_in
from tests.rentals.walk import Walk

Typed = dict[str, Any]


@pytest.fixture(autouse=True)
def _at(now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: now)


PARTY: Typed = {
    "contact_name": "Greta Nance",
    "contact_phone": "0700 000 002",
    "kind": "rental",
    "day": "2027-07-14",
    "starts_at": "11:00",
    "ends_at": "13:00",
    "note": "by the slipway",
    "despite": "They bring their own kit",
    "rows": "2",
}
BRAM: Typed = {
    "riders-0-name": "Bram Sallow",
    "riders-0-born_on": "1984-02-29",
    "riders-0-mass_kg": "84,5",
    "riders-0-stature_cm": "186",
    "riders-0-level": "beginner",
    "riders-0-swims": "on",
}

NOBODY_NEW: Typed = {name: "" for name in BRAM if name not in ("riders-0-level", "riders-0-swims")}


@dataclass(frozen=True)
class Wrong:
    """What is typed wrongly into a good form, and what is said beside which field."""

    typed: Typed
    field: str
    said: str

    def __str__(self) -> str:
        return f"{self.field}: {self.said}"


BOOKINGS = [
    Wrong({"contact_name": ""}, "contact_name", "This is needed."),
    Wrong({"contact_phone": ""}, "contact_phone", "so that you can reach them"),
    Wrong({"contact_email": "greta"}, "contact_email", "valid email"),
    Wrong({"kind": "gift"}, "kind", "not one of the available choices"),
    Wrong({"day": "tomorrow"}, "day", "valid date"),
    Wrong({"starts_at": "eleven"}, "starts_at", "such as 14:30"),
    Wrong({"starts_at": "06:00"}, "starts_at", "open 08:00 to 19:00"),
    Wrong({"ends_at": "10:30"}, "ends_at", "after the start"),
    Wrong({"starts_at": "08:00", "ends_at": "09:00"}, "ends_at", "over already"),
    Wrong({"day": "2028-03-26", "starts_at": "01:30"}, "starts_at", "clocks skip 01:30"),
    Wrong({"day": "2027-10-31", "starts_at": "01:30"}, "starts_at", "twice that night"),
    Wrong({"riders-0-name": ""}, "riders-0-name", "This is needed."),
    Wrong({"riders-0-mass_kg": "15"}, "riders-0-mass_kg", "between 20 and 160 kg"),
    Wrong({"riders-0-mass_kg": "heavy"}, "riders-0-mass_kg", "a number in kg"),
    Wrong({"riders-0-stature_cm": "1.86"}, "riders-0-stature_cm", "between 100 and 220 cm"),
    Wrong({"riders-0-stature_cm": "250"}, "riders-0-stature_cm", "between 100 and 220 cm"),
    Wrong({"riders-0-born_on": "2030-01-01"}, "riders-0-born_on", "in the past"),
    Wrong({"riders-0-born_on": "29/02/85"}, "riders-0-born_on", "valid date"),
    Wrong({"riders-0-consent": "on"}, "riders-0-guardian_name", "who consented"),
    Wrong({**NOBODY_NEW, "riders-0-known": "Somebody"}, "riders-0-known", "from the list"),
    Wrong({**NOBODY_NEW, "riders-0-known": f"Somebody #{'9' * 18}"}, "riders-0-known", "known here"),
    Wrong({**NOBODY_NEW, "riders-0-known": f"Somebody #{'9' * 21}"}, "riders-0-known", "from the list"),
]


class TestBooking:
    def send(self, cast: Walk, typed: Typed) -> Any:
        return signed_in(cast.desk).post(reverse("book", args=[cast.tarrow.slug]), typed)

    def test_a_good_form_books_and_goes_to_today(self, cast: Walk) -> None:
        response = self.send(cast, {**PARTY, **BRAM})

        assert response["Location"] == reverse("today", args=[cast.tarrow.slug])
        assert Outing.objects.get().rider.name == "Bram Sallow"

    @pytest.mark.parametrize("wrong", BOOKINGS, ids=str)
    def test_what_is_wrong_is_said_beside_its_field_and_nothing_typed_is_lost(
        self, cast: Walk, wrong: Wrong
    ) -> None:
        typed = {**PARTY, **BRAM, **wrong.typed}

        response = self.send(cast, typed)

        form = Form(response)
        assert response.status_code == 422
        assert wrong.said in form.said(wrong.field)
        assert {name: form.value(name) for name in typed if typed[name] not in ("on", "gift")} == {
            name: value for name, value in typed.items() if value not in ("on", "gift")
        }
        assert form.ticked("riders-0-swims")
        assert not Booking.objects.exists()

    def test_everything_wrong_is_listed_at_the_top_too(self, cast: Walk) -> None:
        form = Form(self.send(cast, {**PARTY, **BRAM, "contact_name": "", "riders-0-mass_kg": "15"}))

        assert "Contact: This is needed." in form.summary
        assert "Mass in kg" in form.summary

    def test_a_rider_known_here_is_picked_by_name(self, cast: Walk) -> None:
        picked = {"riders-0-known": f"Wren Alder, 72 kg, advanced #{cast.wren.pk}"}

        assert self.send(cast, {**PARTY, **picked}).status_code == 302
        assert Outing.objects.get().rider == cast.wren

    def test_a_rider_who_is_out_then_is_said(self, cast: Walk) -> None:
        picked = {"riders-0-known": f"Wren Alder #{cast.wren.pk}"}
        cast.booked()

        response = self.send(cast, {**PARTY, **picked})

        assert response.status_code == 422
        assert "Wren Alder is booked" in Form(response).summary

    def test_sent_twice_it_books_once(self, cast: Walk) -> None:
        typed = {**PARTY, **BRAM, "once": str(uuid4())}

        assert [self.send(cast, typed).status_code for _time in range(2)] == [302, 302]
        assert Booking.objects.count() == 1

    def test_more_rows_keep_what_is_typed(self, cast: Walk) -> None:
        response = self.send(cast, {**PARTY, **BRAM, "riders-0-mass_kg": "15", "more": "1"})

        form = Form(response)
        assert response.status_code == 200
        assert form.value("riders-0-name") == "Bram Sallow"
        assert form.value("riders-3-name") == ""

    @pytest.mark.parametrize("press", [{"contact_name": ""}, {"more": "1"}], ids=["book", "more rows"])
    def test_a_row_left_empty_is_not_complained_of(self, cast: Walk, press: Typed) -> None:
        form = Form(self.send(cast, {**PARTY, **BRAM, **press}))

        assert form.said("riders-1-name") == ""

    def test_an_instructor_is_told_who_books(self, cast: Walk) -> None:
        response = signed_in(cast.instructor).post(
            reverse("book", args=[cast.tarrow.slug]), {**PARTY, **BRAM}
        )

        assert response.status_code == 403
        assert "desk or manager" in response.content.decode()


@dataclass(frozen=True)
class Sheet:
    """Another form: where it is, what is typed, what must not come of it."""

    name: str
    address: str
    on: Callable[[Walk], list[object]]
    typed: Callable[[Walk], Typed]
    wrong: list[Wrong]
    nothing: Callable[[], bool]
    who: str = "instructor"


def _kit_typed(cast: Walk) -> Typed:
    return {
        "sail": str(cast.shed["S2"].pk),
        "board": str(cast.shed["D1"].pk),
        "buoyancy_aid": str(cast.shed["A1"].pk),
        "override_reason": "",
    }


def _kit_on(cast: Walk) -> list[object]:
    assert cast.shed
    cast.blow(mean_ms=20.0, gust_ms=27.0)
    return [cast.booked()[0].pk]


def _back_typed(cast: Walk) -> Typed:
    out = cast.kit_of(Outing.objects.get())
    return {"note": "gusty", **{f"back_{part.item_id}": "on" for part in out}}


def _missing_with_fault(cast: Walk) -> Typed:
    fin = cast.shed["F1"].pk
    return {"note": "gusty", f"fault_{fin}": "Chipped"}


SHEETS = [
    Sheet(
        "kit against advice",
        "outing",
        _kit_on,
        _kit_typed,
        [
            Wrong({}, "override_reason", "Enter why you give it all the same"),
            Wrong({"board": "0"}, "board", "free at that time"),
            Wrong({"sail": ""}, "sail", "This is needed."),
        ],
        lambda: not KitPart.objects.exists(),
        "desk",
    ),
    Sheet(
        "beach log",
        "beach",
        lambda cast: [],
        lambda cast: {"instructors": "2", "mean": "12", "gust": "15", "from_deg": "330", "water_c": "17,5"},
        [
            Wrong({"gust": "11"}, "gust", "at least"),
            Wrong({"mean": "strong"}, "mean", "a number in kn"),
            Wrong({"water_c": "50"}, "water_c", "between -3 and 45"),
            Wrong({"instructors": ""}, "instructors", "This is needed."),
        ],
        lambda: not BeachLog.objects.exists(),
    ),
    Sheet(
        "fault",
        "item",
        lambda cast: [cast.shed["S1"].tag],
        lambda cast: {"which": "fault"},
        [Wrong({"fault": " "}, "fault", "This is needed.")],
        lambda: not Job.objects.exists(),
        "desk",
    ),
    Sheet(
        "wind by hand",
        "weather",
        lambda cast: [],
        lambda cast: {
            "which": "hand",
            "hand-day": "2027-07-14",
            "hand-starts_at": "11:00",
            "hand-ends_at": "13:00",
            "hand-mean": "12,5",
        },
        [
            Wrong({"hand-ends_at": "10:00"}, "hand-ends_at", "after the start"),
            Wrong({"hand-mean": "81"}, "hand-mean", "between 0 and 80 kn"),
            Wrong({"hand-gust": "10"}, "hand-gust", "at least as strong as the mean"),
            Wrong({"hand-day": "2027-03-28", "hand-starts_at": "01:15"}, "hand-starts_at", "clocks skip"),
        ],
        lambda: not Run.objects.exists(),
    ),
    Sheet(
        "rider",
        "rider",
        lambda cast: [cast.wren.pk],
        lambda cast: {
            "name": "Wren Alder",
            "born_on": "1990-05-01",
            "mass_kg": "74,5",
            "stature_cm": "176",
            "level": "advanced",
            "waiver": "on",
        },
        [
            Wrong({"mass_kg": "745"}, "mass_kg", "between 20 and 160 kg"),
            Wrong({"born_on": "2026-05-01"}, "born_on", "between 5 and 100 years"),
            Wrong({"level": "wizard"}, "level", "not one of the available choices"),
        ],
        lambda: Rider.objects.get().mass_kg == 72,
        "desk",
    ),
]
CASES = [pytest.param(sheet, wrong, id=f"{sheet.name}, {wrong}") for sheet in SHEETS for wrong in sheet.wrong]


@pytest.mark.parametrize(("sheet", "wrong"), CASES)
def test_what_is_wrong_is_said_beside_its_field_and_the_rest_is_kept(
    cast: Walk, sheet: Sheet, wrong: Wrong
) -> None:
    url = reverse(sheet.address, args=[cast.tarrow.slug, *sheet.on(cast)])
    typed = {**sheet.typed(cast), **wrong.typed}

    response = signed_in(getattr(cast, sheet.who)).post(url, typed)

    form = Form(response)
    assert response.status_code == 422
    assert wrong.said in form.said(wrong.field)
    shown = {name: value for name, value in typed.items() if name not in wrong.typed and name != "which"}
    assert {name: form.value(name) for name in shown if shown[name] != "on"} == {
        name: value for name, value in shown.items() if value != "on"
    }
    assert sheet.nothing()


class TestFile:
    def send(self, cast: Walk, content: bytes) -> Any:
        typed = {
            "which": "file",
            "file-file": SimpleUploadedFile("wind.csv", content),
            "file-unit": "kn",
            "file-height_m": "4",
        }
        return signed_in(cast.instructor).post(reverse("weather", args=[cast.tarrow.slug]), typed)

    @pytest.mark.parametrize("content", [b"", b"{", b"\xff\xfe\x00", b"time,mean\n"], ids=repr)
    def test_a_file_that_cannot_be_read_is_said_beside_it(self, cast: Walk, content: bytes) -> None:
        response = self.send(cast, content)

        form = Form(response)
        assert response.status_code == 422
        assert form.said("file-file")
        assert (form.value("file-unit"), form.value("file-height_m")) == ("kn", "4")

    def test_one_too_large_is_refused(self, cast: Walk) -> None:
        response = self.send(cast, b"#" * (5 * 1024 * 1024 + 1))

        assert "at most 5 MB" in Form(response).said("file-file")


class TestLaunchCheck:
    def url(self, cast: Walk, outing: Outing) -> str:
        return reverse("launch-check", args=[cast.tarrow.slug, outing.pk])

    def test_a_failed_check_keeps_the_ticks_and_takes_a_fresh_key(self, cast: Walk) -> None:
        outing, key = cast.issued(), str(uuid4())
        typed = {"kit_no": "1", "once": key, "note": "gusty", "point.sail.panels": "on", "launch": "1"}

        response = signed_in(cast.instructor).post(self.url(cast, outing), typed)

        form = Form(response)
        assert response.status_code == 422
        assert "Not passed. Logged, and nobody was let go." in form.summary
        assert (form.ticked("point.sail.panels"), form.ticked("point.boom.clamp")) == (True, False)
        assert form.value("note") == "gusty"
        assert form.value("once") != key
        assert LaunchCheck.objects.get().passed is False

    def test_a_form_without_its_kit_is_refused(self, cast: Walk) -> None:
        outing = cast.issued()

        assert signed_in(cast.instructor).post(self.url(cast, outing), {"note": "x"}).status_code == 422

    def test_a_kit_swapped_meanwhile_is_said(self, cast: Walk) -> None:
        outing = cast.issued()

        response = signed_in(cast.instructor).post(self.url(cast, outing), {"kit_no": "7"})

        assert response.status_code == 422
        assert "swapped while you checked" in response.content.decode()


class TestReturnCheck:
    def test_a_fault_of_a_missing_item_is_said_beside_it(self, cast: Walk) -> None:
        outing = cast.out()
        url = reverse("return-check", args=[cast.tarrow.slug, outing.pk])

        response = signed_in(cast.desk).post(url, _missing_with_fault(cast))

        form = Form(response)
        assert response.status_code == 422
        assert "for now it is missing" in form.said(f"fault_{cast.shed['F1'].pk}")
        assert form.value(f"fault_{cast.shed['F1'].pk}") == "Chipped"
        assert form.value("note") == "gusty"
        assert not ReturnCheck.objects.exists()

    def test_everything_back_closes_the_outing(self, cast: Walk) -> None:
        outing = cast.out()
        url = reverse("return-check", args=[cast.tarrow.slug, outing.pk])

        assert signed_in(cast.desk).post(url, _back_typed(cast)).status_code == 302
        assert Outing.objects.get().state == "closed"


class TestMend:
    def test_without_work_it_is_said_beside_the_job(self, cast: Walk) -> None:
        job = cast.faulty("S1")
        typed = {f"job-{job.pk}-work": "", f"job-{job.pk}-minutes": "25"}

        response = signed_in(cast.instructor).post(reverse("mend", args=[cast.tarrow.slug, job.pk]), typed)

        form = Form(response)
        assert response.status_code == 422
        assert form.said(f"job-{job.pk}-work") == "This is needed."
        assert form.value(f"job-{job.pk}-minutes") == "25"
