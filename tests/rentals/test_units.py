"""Pages in the units that somebody chose: what they type is SI inside, what they read is theirs again."""

from datetime import datetime
from decimal import Decimal
from math import log

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse

from rentals.lib import clock
from rentals.people.models import User
from rentals.stations.models import WindLimit
from rentals.weather.models import Hour, Observation
from tests.rentals.browser import Form, signed_in
from tests.rentals.walk import Walk

POUND_KG = Decimal("0.45359237")
KNOT_MS = 1852 / 3600
"""NIST SP 811 (2008), appendix B.8."""


@pytest.fixture(autouse=True)
def _at(now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: now)


def reader(user: User, units: str) -> Client:
    client = signed_in(user)
    client.cookies[settings.UNITS_COOKIE_NAME] = units
    return client


def address(cast: Walk, name: str, *args: object) -> str:
    return reverse(name, args=[cast.tarrow.slug, *args])


BEACH = {"instructors": "2", "from_deg": "330"}


@pytest.mark.parametrize(
    ("units", "mean", "gust", "mean_ms", "gust_ms"),
    [
        ("kn kg cm", "14", "18,5", 14 * KNOT_MS, 18.5 * KNOT_MS),
        ("m/s kg cm", "7.5", "9", 7.5, 9.0),
        ("km/h kg cm", "27", "36", 7.5, 10.0),
        # v = 0.836 B^1.5, the Met Office and WMO, from memory
        ("Bft kg cm", "4", "5", 6.69, 9.35),
    ],
)
def test_the_beach_is_logged_in_the_reader_s_unit(
    cast: Walk, units: str, mean: str, gust: str, mean_ms: float, gust_ms: float
) -> None:
    client = reader(cast.instructor, units)
    page = client.get(address(cast, "beach")).content.decode()
    client.post(address(cast, "beach"), {**BEACH, "mean": mean, "gust": gust})

    seen = Observation.objects.get()
    assert f"Wind, mean in {units.split()[0]}" in page
    assert [seen.mean_ms, seen.gust_ms] == pytest.approx([mean_ms, gust_ms])


def test_a_wind_that_cannot_be_is_refused_in_the_reader_s_unit_and_kept(cast: Walk) -> None:
    answer = reader(cast.instructor, "km/h kg cm").post(address(cast, "beach"), {**BEACH, "mean": "200"})

    form = Form(answer)
    assert (answer.status_code, form.value("mean")) == (422, "200")
    assert form.said("mean") == "Enter a number between 0 and 148 km/h."  # 80 kn


class TestWeather:
    def test_a_wind_is_entered_drawn_and_listed_in_the_reader_s_unit(self, cast: Walk) -> None:
        client = reader(cast.instructor, "m/s kg cm")
        client.post(
            address(cast, "weather"),
            {
                "which": "hand", "hand-day": f"{cast.now:%Y-%m-%d}", "hand-starts_at": "10:00",
                "hand-ends_at": "12:00", "hand-mean": "7.2", "hand-gust": "9", "hand-from_deg": "330",
            },
        )  # fmt: skip

        # Neutral log profile over 0.0002 m, the open sea of the Davenport-Wieringa classes: what is felt at
        # 2 m is this much stronger at 10 m, which the page lists.
        kept = Hour.objects.get().mean_ms
        assert kept == pytest.approx(7.2 * log(10 / 0.0002) / log(2 / 0.0002))
        page = client.get(address(cast, "weather")).content.decode()
        assert f"{kept:.1f} m/s" in page
        assert "Mean and gusts in m/s" in page

    def test_in_beaufort_too(self, cast: Walk) -> None:
        cast.blow(mean_ms=9.0, gust_ms=12.0)
        page = reader(cast.instructor, "Bft kg cm").get(address(cast, "weather")).content.decode()

        assert "5 Bft" in page
        assert "Mean and gusts in Bft" in page


class TestARider:
    def test_a_mass_in_pounds_and_a_stature_in_feet_are_kept_in_si(self, cast: Walk) -> None:
        client = reader(cast.desk, "kn lb ft-in")
        form = Form(client.get(address(cast, "rider", cast.wren.pk)))
        sent = {
            "name": "Wren Alder", "born_on": "1990-05-01", "level": "advanced", "swims": "on", "waiver": "on",
        }  # fmt: skip
        client.post(
            address(cast, "rider", cast.wren.pk), {**sent, "mass_kg": "160.5", "stature_cm": "5 ft 11"}
        )

        assert (form.value("mass_kg"), form.value("stature_cm")) == ("158.7", "5 ft 9 in")  # 72 kg, 176 cm
        cast.wren.refresh_from_db()
        assert cast.wren.mass_kg == round(Decimal("160.5") * POUND_KG, 1)
        assert cast.wren.stature_cm == 180  # 71 in of 2.54 cm

    def test_saving_what_was_not_touched_changes_nothing(self, cast: Walk) -> None:
        client = reader(cast.desk, "kn lb ft-in")
        form = Form(client.get(address(cast, "rider", cast.wren.pk)))
        names = ("name", "born_on", "mass_kg", "stature_cm", "level", "phone")
        client.post(
            address(cast, "rider", cast.wren.pk),
            {**{name: form.value(name) for name in names}, "swims": "on", "waiver": "on"},
        )

        before = (cast.wren.mass_kg, cast.wren.stature_cm)
        cast.wren.refresh_from_db()
        assert (cast.wren.mass_kg, cast.wren.stature_cm) == before

    def test_a_pasted_list_reads_bare_weights_in_pounds_and_fills_in_pounds(self, cast: Walk) -> None:
        client = reader(cast.desk, "kn lb ft-in")
        text = "Anna Bell\t164\t1990-05-17\tbeginner\nBea Coll\t70 kg\t178 cm\t1991-05-17\tbeginner"
        form = Form(client.post(address(cast, "book"), {"rows": "2", "pasted": text, "read": "1"}))

        assert [form.value(f"riders-{row}-mass_kg") for row in (0, 1)] == ["164", "154.3"]
        assert form.value("riders-1-stature_cm") == "5 ft 10 in"


def test_a_wind_limit_that_was_not_touched_stays_exactly(cast: Walk) -> None:
    WindLimit.objects.create(station=cast.tarrow, level="advanced", mean_ms=11.2345)
    client = reader(cast.manager, "Bft kg cm")
    form = Form(client.get(address(cast, "station")))
    client.post(address(cast, "wind-limits"), {"advanced": form.value("advanced"), "improver": "4"})

    limits = dict(WindLimit.objects.values_list("level", "mean_ms"))
    assert limits == {"advanced": 11.2345, "improver": pytest.approx(6.69)}


def test_a_rig_card_says_inches_beside_the_centimetres_that_kit_is_marked_in(cast: Walk) -> None:
    outing = cast.kitted()
    number = next(each for each in cast.card(outing).settings["numbers"] if each["name"] == "boom length")
    said = f"({number['value'] / 2.54:.1f} in)"

    assert said in reader(cast.desk, "kn kg ft-in").get(address(cast, "card", outing.pk)).content.decode()
    assert said not in reader(cast.desk, "kn kg cm").get(address(cast, "card", outing.pk)).content.decode()
