"""The shed as a sheet: read as sheets come, looked at row by row, taken in whole, given out safely."""

import csv
from contextlib import suppress
from datetime import date
from decimal import Decimal
from io import StringIO
from typing import Any
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st
from pytest_django import DjangoAssertNumQueries

from rentals.fleet import queries
from rentals.fleet.formats import shed as sheets
from rentals.fleet.formats.shed import UnreadableSheet
from rentals.fleet.models import Item, ItemModel
from rentals.fleet.queries import RowPlan, ShedPlan
from rentals.fleet.services import UnableToTakeShed, take_shed
from rentals.fleet.tasks import take_shed as take_in
from rentals.lib import clock, tables
from tests.rentals.browser import Form, signed_in
from tests.rentals.walk import Walk

NEW_SAIL = (
    "tag;kind;model;colour;price;currency;area_m2;luff_cm;boom_cm;imcs;curve;head;takes_rdm;takes_sdm;battens;cams\n"
    "S7;sail;Marram 4,2;blue;480,50;eur;4,2;371;152;17;constant;fixed;yes;no;5;0\n"
)


def plan(cast: Walk, text: str) -> ShedPlan:
    assert cast.shed
    return queries.shed_plan(cast.tarrow, text)


def only(cast: Walk, text: str) -> RowPlan:
    (row,) = plan(cast, text).rows
    return row


def take(cast: Walk, text: str, **values: Any) -> ShedPlan:
    assert cast.shed
    return take_shed(actor=cast.boss, station_id=cast.tarrow.pk, text=text, now=cast.now, **values)


class TestReading:
    @pytest.mark.parametrize(
        "content",
        [
            pytest.param("tag,colour\nS1,grün\n".encode(), id="UTF-8"),
            pytest.param("tag,colour\nS1,grün\n".encode("utf-8-sig"), id="UTF-8 with a mark"),
            pytest.param("tag\tcolour\nS1\tgrün\n".encode("utf-16"), id="UTF-16, tabs"),
            pytest.param("tag;colour\r\nS1;grün\r\n".encode("cp1252"), id="Western European, semicolons"),
            pytest.param(' Tag ;"COLOUR"\n\n;\nS1;" grün "\n'.encode(), id="loose headings and empty rows"),
        ],
    )
    def test_it_reads_sheets_as_they_come(self, content: bytes) -> None:
        sheet = sheets.read(sheets.decoded(content))

        assert [dict(line.cells) for line in sheet.lines] == [{"tag": "S1", "colour": "grün"}]

    @pytest.mark.parametrize(
        ("text", "says"),
        [
            ("", "empty"),
            ("colour\nblue\n", "name the columns"),
            ("tag,tag\nS1,S2\n", "same name"),
            ('tag,colour\nS1,"blue\n', "cannot be read"),
            ("tag\n" + "S\n" * 5001, "at most 5000 rows"),
        ],
    )
    def test_what_is_no_sheet_is_refused_with_what_to_do(self, text: str, says: str) -> None:
        with pytest.raises(UnreadableSheet, match=says):
            sheets.read(text)

    @pytest.mark.parametrize("content", [b"\x00\x01\x02", bytes(2 * 2**20 + 1)], ids=["no text", "too large"])
    def test_what_is_no_text_is_refused(self, content: bytes) -> None:
        with pytest.raises(UnreadableSheet):
            sheets.decoded(content)

    @pytest.mark.parametrize(
        ("cell", "read"), [("2026-04-30", date(2026, 4, 30)), ("30.4.2026", date(2026, 4, 30))]
    )
    def test_days_are_read_where_they_are_plain(self, cell: str, read: date) -> None:
        assert sheets.day(cell) == read

    @pytest.mark.parametrize("cell", ["04/05/2026", "2026-02-30", "31.4.2026", "soon"])
    def test_days_that_could_be_two_or_none_are_not_guessed(self, cell: str) -> None:
        with pytest.raises(ValueError, match="2026-04-30"):
            sheets.day(cell)

    @given(st.text(max_size=300))
    def test_whatever_comes_is_read_or_refused(self, text: str) -> None:
        with suppress(UnreadableSheet):
            assert "tag" in sheets.read(text).columns


class TestWriting:
    @pytest.mark.parametrize(
        "cell", ["=1+1", "+41", "-2", "@SUM(A1)", "\tx", "\rx", '=HYPERLINK("http://x")']
    )
    def test_what_a_sheet_would_run_is_marked_as_text(self, cell: str) -> None:
        """OWASP, CSV injection: a cell that begins with = + - @ tab or return is run by spreadsheets."""
        assert tables.no_formula(cell) == f"'{cell}"

    @given(
        st.lists(
            st.lists(st.text(alphabet=st.characters(codec="utf-8"), max_size=8), min_size=2, max_size=2),
            max_size=5,
        )
    )
    def test_no_cell_of_any_sheet_begins_as_a_formula(self, rows: list[list[str]]) -> None:
        text = tables.csv_text(("tag", "colour"), rows)

        for row in csv.reader(StringIO(text, newline="")):
            assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r")) for cell in row)

    def test_an_export_taken_in_again_changes_nothing(self, cast: Walk) -> None:
        Item.objects.filter(pk=cast.shed["S1"].pk).update(
            colour="=red", price=Decimal("480.50"), currency="EUR"
        )

        again = plan(cast, queries.shed_csv(cast.tarrow))

        assert {row.fate for row in again.rows} == {"same"}
        assert len(again.rows) == len(cast.shed)


class TestPreview:
    def test_an_unknown_tag_of_an_unknown_model_is_both_new(self, cast: Walk) -> None:
        row = only(cast, NEW_SAIL)

        assert (row.fate, row.says) == ("new", ["new sail, new model: Marram 4,2"])
        assert row.values["price"] == Decimal("480.50")

    def test_an_unknown_tag_of_a_known_model_needs_no_numbers(self, cast: Walk) -> None:
        row = only(cast, "tag,kind,model\nM7,mast,lyme 400 rdm\n")

        assert row.says == ["new mast: lyme 400 rdm"]
        assert row.model == cast.shed["M1"].model

    def test_a_known_tag_says_what_changes(self, cast: Walk) -> None:
        row = only(cast, "tag,colour,bought_on\ns1,blue,30.4.2026\n")

        assert row.fate == "changed"
        assert row.says == ["colour: nothing becomes blue", "bought on: nothing becomes 2026-04-30"]

    def test_an_empty_cell_leaves_what_is_known(self, cast: Walk) -> None:
        Item.objects.filter(pk=cast.shed["S1"].pk).update(colour="red")

        assert only(cast, "tag,colour\nS1,\n").fate == "same"

    def test_a_withdrawn_item_keeps_its_record(self, cast: Walk) -> None:
        Item.objects.filter(pk=cast.shed["S1"].pk).update(state="withdrawn")

        row = only(cast, "tag,colour\nS1,blue\n")

        assert (row.fate, row.says) == ("same", ["withdrawn: its record stays as it is"])

    def test_columns_that_it_does_not_know_are_named(self, cast: Walk) -> None:
        assert plan(cast, "tag,mood\nS1,calm\n").ignored == ("mood",)

    def test_what_the_sheet_leaves_out_is_counted(self, cast: Walk) -> None:
        assert plan(cast, "tag\nS1\n").left == len(cast.shed) - 1

    @pytest.mark.parametrize(
        ("text", "column"),
        [
            ("tag\n" + "S" * 13 + "\n", "tag"),
            ("tag\nS/1\n", "tag"),
            ("tag,colour\nS1,red\nS1,blue\n", "tag"),
            ("tag,colour\nS1,4,2\n", "tag"),
            ("tag,kind\nS1,mast\n", "kind"),
            ("tag,model\nS1,Samphire 6.4\n", "model"),
            ("tag,kind,model\nS7,kite,Marram\n", "kind"),
            ("tag,kind\nS7,sail\n", "model"),
            ("tag,bought_on\nS1,soon\n", "bought_on"),
            ("tag,price,currency\nS1,much,EUR\n", "price"),
            ("tag,price,currency\nS1,-1,EUR\n", "price"),
            ("tag,price,currency\nS1,1,euro\n", "currency"),
            ("tag,price\nS1,480\n", "currency"),
            ("tag,kind,model,size\nH7,harness,Marram,\n", "size"),
            ("tag,kind,model,length_cm\nM7,mast,Lyme 400 RDM,430\n", "length_cm"),
            (NEW_SAIL.replace(";371;", ";999;"), "luff_cm"),
            (NEW_SAIL.replace(";5;0", ";5,5;0"), "battens"),
            (NEW_SAIL.replace("constant", "wobbly"), "curve"),
            (NEW_SAIL.replace(";yes;no;", ";perhaps;no;"), "takes_rdm"),
            (NEW_SAIL.replace(";yes;no;", ";no;no;"), "model"),
        ],
    )
    def test_what_cannot_be_is_said_at_its_row_and_column(self, cast: Walk, text: str, column: str) -> None:
        wrong = [row for row in plan(cast, text).rows if row.problems]

        assert column in wrong[-1].problems
        assert wrong[-1].fate == "wrong"

    def test_a_longer_sheet_asks_no_more(
        self, cast: Walk, django_assert_num_queries: DjangoAssertNumQueries
    ) -> None:
        assert cast.shed
        rows = "".join(f"M{number},mast,Lyme 400 RDM\n" for number in range(10, 210))
        with django_assert_num_queries(2):
            queries.shed_plan(cast.tarrow, f"tag,kind,model\n{rows}")


class TestTaking:
    def test_new_items_and_models_are_there_with_what_changed(self, cast: Walk) -> None:
        taken = take(cast, NEW_SAIL + "S1;;;red;;;;;;;;;;;;\n")

        sail = Item.objects.get(station=cast.tarrow, tag="S7")
        assert (taken.new, taken.changed) == (1, 1)
        assert (sail.model.luff_cm, sail.price, sail.currency, sail.state) == (
            371,
            Decimal("480.50"),
            "EUR",
            "ready",
        )
        assert Item.objects.get(tag="S1").colour == "red"
        assert cast.told("item", sail.pk) == ["Entered into the shed from a sheet"]
        assert cast.told("item", cast.shed["S1"].pk) == ["From a sheet: colour: nothing becomes red"]

    def test_two_items_of_one_new_model_share_it(self, cast: Walk) -> None:
        take(cast, NEW_SAIL + NEW_SAIL.splitlines()[1].replace("S7", "S8"))

        assert ItemModel.objects.get(name="Marram 4,2") == Item.objects.get(tag="S8").model

    def test_one_problem_and_nothing_is_taken(self, cast: Walk) -> None:
        with pytest.raises(UnableToTakeShed, match="Row 3, kind: Enter a kind") as refusal:
            take(cast, "tag,kind,model\nM7,mast,Lyme 400 RDM\nM8,kite,Marram\n")

        assert set(refusal.value.fields) == {"file"}
        assert not Item.objects.filter(tag="M7").exists()

    def test_nothing_is_removed_and_a_state_is_not_taken(self, cast: Walk) -> None:
        Item.objects.filter(pk=cast.shed["S2"].pk).update(state="on_bench")

        take(cast, "tag,state\nS2,ready\n")

        assert Item.objects.filter(station=cast.tarrow).count() == len(cast.shed)
        assert cast.state_of("S2") == "on_bench"

    def test_an_item_may_come_as_withdrawn(self, cast: Walk) -> None:
        take(cast, "tag,kind,model,state\nM7,mast,Lyme 400 RDM,withdrawn\n")

        assert Item.objects.get(tag="M7").state == "withdrawn"

    def test_the_other_stations_tags_are_its_own(self, cast: Walk) -> None:
        model = cast.shed["S1"].model
        Item.objects.create(station=cast.kettle, model=model, tag="S9", colour="red")

        assert only(cast, f"tag,kind,model\nS9,sail,{model.name}\n").fate == "new"

    def test_sent_twice_it_is_taken_once(self, cast: Walk) -> None:
        key = uuid4()
        take(cast, NEW_SAIL, once=key)
        take(cast, NEW_SAIL, once=key)

        assert len(cast.told("station", cast.tarrow.pk)) == 1


class TestPage:
    @pytest.fixture(autouse=True)
    def _at(self, cast: Walk, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(clock, "now", lambda: cast.now)

    def test_a_sheet_is_looked_at_and_then_taken(self, cast: Walk) -> None:
        assert cast.shed
        maud, url = signed_in(cast.manager), reverse("shed", args=[cast.tarrow.slug])
        sent = SimpleUploadedFile("shed.csv", NEW_SAIL.encode("cp1252"), "text/csv")

        look = maud.post(url, {"step": "look", "file": sent})
        assert look.status_code == 200
        assert "1 new" in look.content.decode()
        assert not Item.objects.filter(tag="S7").exists()

        kept = Form(look).value("sheet")
        assert maud.post(url, {"step": "take", "sheet": kept}).status_code == 302
        take_in()
        assert Item.objects.filter(tag="S7").exists()

    def test_a_row_with_a_problem_stands_with_its_number(self, cast: Walk) -> None:
        assert cast.shed
        sent = SimpleUploadedFile("shed.csv", b"tag,kind\nM7,kite\n", "text/csv")
        url = reverse("shed", args=[cast.tarrow.slug])

        page = signed_in(cast.manager).post(url, {"step": "look", "file": sent}).content.decode()

        assert "Enter a kind" in page
        assert "Take it in:" not in page

    @pytest.mark.parametrize("content", [b"", b"\x00\x00\x00", b"colour\nred\n"])
    def test_what_is_no_sheet_is_said_beside_the_file(self, cast: Walk, content: bytes) -> None:
        url = reverse("shed", args=[cast.tarrow.slug])
        sent = SimpleUploadedFile("shed.csv", content, "text/csv")

        answer = signed_in(cast.manager).post(url, {"step": "look", "file": sent})

        assert answer.status_code == 422
        assert Form(answer).said("file")

    def test_the_shed_is_given_out_as_a_file(self, cast: Walk) -> None:
        assert cast.shed

        answer = signed_in(cast.desk).get(reverse("shed-export", args=[cast.tarrow.slug]))

        assert answer["Content-Type"] == "text/csv; charset=utf-8"
        assert answer["Content-Disposition"].startswith("attachment")
        assert answer.content.decode("utf-8-sig").startswith("tag,kind,model,state")
