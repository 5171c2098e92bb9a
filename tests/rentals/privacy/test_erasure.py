"""Erasing a rider: every trace of who it was is gone from every table, and what must stay stays."""

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from django.db import connection

from rentals.audit.models import Entry, Redaction
from rentals.bookings import services as bookings
from rentals.bookings.models import Outing
from rentals.home.models import Signature
from rentals.people import services as people
from rentals.people.models import Rider
from rentals.privacy import services
from tests.rentals.database.rows import refused_by
from tests.rentals.home.house import ADA, House
from tests.rentals.walk import HOUR, Walk

MARKS = {
    "name": "Zephyrine Quillmarker",
    "phone": "0799 111 222 333",
    "guardian": "Ottoline Quillguard",
    "guardian_phone": "0799 444 555 666",
    "email": "zephyrine@quillmarker.invalid",
    "note": "Left knee, quillnote",
}
"""Words that stand nowhere else."""


def columns() -> Iterator[tuple[str, str]]:
    """Every column of every table of the database, as the database lists them."""
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            for column in connection.introspection.get_table_description(cursor, table):
                yield table, column.name


def found(word: str) -> list[str]:
    """Where a word stands, letters beyond ASCII as JSON escapes them too: the whole database is searched."""
    hits = []
    with connection.cursor() as cursor:
        for table, column in columns():
            for form in {word, json.dumps(word)[1:-1]}:
                # Names from the database's own list.
                counted = f'SELECT count(*) FROM "{table}" WHERE lower(CAST("{column}" AS TEXT)) LIKE %s'  # noqa: S608
                cursor.execute(counted, [f"%{form.lower()}%"])
                if cursor.fetchone()[0]:
                    hits.append(f"{table}.{column}: {form}")
    return hits


@pytest.fixture
def house(cast: Walk) -> House:
    made = House(cast)
    made.open()
    return made


@pytest.fixture
def rider(house: House) -> Rider:
    """A child whose marks stand wherever the station writes them, all of it over."""
    facts = replace(
        ADA,
        name=MARKS["name"],
        born_on=date(2012, 5, 6),
        phone=MARKS["phone"],
        mass_kg=Decimal("72.3"),
        stature_cm=178,
        guardian_name=MARKS["guardian"],
        guardian_phone=MARKS["guardian_phone"],
        consent=True,
    )
    contact = bookings.Contact(name=MARKS["guardian"], phone=MARKS["guardian_phone"], email=MARKS["email"])
    guest = house.book(facts, contact=contact, note=MARKS["note"])
    rider = Rider.objects.get(name=MARKS["name"])
    for phone in ("0799 000 000 001", MARKS["phone"]):
        people.change_rider(
            actor=house.cast.ida, rider_id=rider.pk, facts=replace(facts, phone=phone), now=house.cast.now
        )
    (outing,) = house.outings(guest)
    house.finish(outing)
    return rider


def erase(house: House, rider: Rider) -> None:
    services.erase_rider(actor=house.cast.boss, rider_id=rider.pk, now=house.cast.now + 8 * HOUR)


def test_the_marks_stand_in_many_tables_before(rider: Rider) -> None:
    """So that what follows means something."""
    tables = {hit.partition(".")[0] for hit in found(MARKS["name"])}

    assert {"people_rider", "audit_entry", "mail_letter"} <= tables
    for word in MARKS.values():
        assert found(word), word


def test_no_table_says_any_more_who_it_was(house: House, rider: Rider) -> None:
    erase(house, rider)

    for word in MARKS.values():
        assert found(word) == []


def test_what_happened_stays_without_saying_who(house: House, rider: Rider) -> None:
    outing = Outing.objects.get(rider=rider)
    lines = Entry.objects.about("outing", outing.pk).count()

    erase(house, rider)

    rider.refresh_from_db()
    assert rider.name == f"Rider {rider.pk}"
    assert (rider.born_on, float(rider.mass_kg), rider.stature_cm) == (date(2012, 1, 1), 70, 180)
    assert Outing.objects.get(pk=outing.pk).state == "closed"
    assert Entry.objects.about("outing", outing.pk).count() == lines
    assert f"rider {rider.pk}" in " ".join(house.cast.told("outing", outing.pk))
    assert Signature.objects.filter(rider=rider, what="guardian", version="2026-1").exists()


def test_others_of_the_same_day_stay_as_they_are(house: House, rider: Rider) -> None:
    other = house.book(replace(ADA, name="Bram Harle"), hour=17)
    before = house.letters(other)[0].body

    erase(house, rider)

    assert house.letters(other)[0].body == before
    assert Rider.objects.filter(name="Bram Harle").exists()


def test_a_name_that_another_bears_is_struck_out_only_where_the_rider_is_meant(
    house: House, rider: Rider
) -> None:
    twin = house.cast.rider(MARKS["name"], level="advanced")
    people.change_rider(
        actor=house.cast.ida, rider_id=twin.pk, facts=replace(ADA, name=MARKS["name"]), now=house.cast.now
    )

    erase(house, rider)

    twin.refresh_from_db()
    assert twin.name == MARKS["name"]
    assert {hit.partition(".")[0] for hit in found(MARKS["name"])} <= {"people_rider", "audit_entry"}
    assert MARKS["name"] not in " ".join(house.cast.told("rider", rider.pk))


def test_who_is_still_expected_is_not_erased(house: House) -> None:
    guest = house.book()

    with pytest.raises(services.UnableToErase, match="Close or cancel it first"):
        erase(house, guest.riders.get())

    assert found("Ada Brill")


def test_erasing_twice_changes_nothing_more(house: House, rider: Rider) -> None:
    erase(house, rider)
    erase(house, rider)

    rider.refresh_from_db()
    assert rider.name == f"Rider {rider.pk}"


def test_the_journal_can_be_changed_only_while_somebody_is_erased(house: House, rider: Rider) -> None:
    erase(house, rider)

    assert not Redaction.objects.filter(ended_at=None).exists()
    with refused_by("audit_entry_append_only"):
        Entry.objects.update(text="something else")


def test_no_line_can_be_removed_even_then(house: House, rider: Rider) -> None:
    Redaction.objects.create(subject_kind="rider", subject_id=rider.pk, station_id=1, begun_at=house.cast.now)

    with refused_by("audit_entry_append_only"):
        Entry.objects.all().delete()


class TestTheExport:
    def test_it_holds_all_that_is_kept_table_by_table(self, house: House, rider: Rider) -> None:
        told = services.export_rider(actor=house.cast.boss, rider_id=rider.pk, now=house.cast.now)

        whole = json.dumps(told, default=str, ensure_ascii=False)
        for word in MARKS.values():
            assert word in whole
        assert {"people_rider", "bookings_outing", "home_signature", "journal", "letters"} <= told[
            "tables"
        ].keys()

    def test_it_says_nothing_of_others(self, house: House, rider: Rider) -> None:
        house.book(replace(ADA, name="Bram Harle"), hour=17)

        told = services.export_rider(actor=house.cast.boss, rider_id=rider.pk, now=house.cast.now)

        assert "Bram Harle" not in json.dumps(told, default=str)
