"""A model or batch called back: held at once, promises undone, plans asked for again, told to the maker."""

from typing import Any

import pytest
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from rentals.bench import queries
from rentals.bench.models import Job, KitRecall
from rentals.bench.services import RecallEnded, UnableToRecall, end_recall, recall_kit, release_held
from rentals.bookings import queries as bookings
from rentals.dayplan.models import Plan
from rentals.fleet.models import HoldBack, Item
from rentals.lib import clock
from tests.rentals.browser import Form, signed_in
from tests.rentals.walk import HOUR, Walk, again


def recall(cast: Walk, tag: str = "M1", **values: Any) -> KitRecall:
    usual: dict[str, Any] = {
        "actor": cast.jory,
        "model_id": cast.shed[tag].model_id,
        "batch": "",
        "reason": "Ferrule may crack",
        "maker": "Lyme Spars",
    }
    return recall_kit(station_id=cast.tarrow.pk, now=cast.now, **{**usual, **values})


class TestCallingBack:
    def test_every_item_of_the_model_is_held_back_at_once(self, cast: Walk) -> None:
        cast.one_more("M9", like="M1")

        recall(cast)

        assert set(Item.objects.filter(state="held_back").values_list("tag", flat=True)) == {"M1", "M9"}
        assert cast.told("item", cast.shed["M1"].pk)[0] == "Held back: Ferrule may crack"

    def test_or_one_batch_of_it(self, cast: Walk) -> None:
        cast.one_more("M9", like="M1", batch="2026-1")

        recall(cast, batch=" 2026-1 ")

        assert set(Item.objects.filter(state="held_back").values_list("tag", flat=True)) == {"M9"}

    def test_an_outing_that_was_promised_it_is_booked_again_without_kit(self, cast: Walk) -> None:
        outing = cast.kitted()

        recall(cast)

        assert again(outing).state == "booked"
        assert cast.live_holds(outing) == 0
        assert "Kit called back: choose or plan another" in cast.told("outing", outing.pk)

    def test_a_new_plan_of_its_day_is_asked_for(self, cast: Walk) -> None:
        cast.kitted()

        recall(cast)

        plan = Plan.objects.get()
        assert (plan.day, plan.state) == (cast.now.date(), "waiting")
        assert "M1" not in str(plan.inputs)

    def test_one_that_is_being_made_is_given_up_for_it(self, cast: Walk) -> None:
        outing = cast.kitted()
        recall(cast, "T1")
        cast.one_more("T9", like="T1")
        cast.kit(again(outing))

        recall(cast, "M1")

        assert [plan.state for plan in Plan.objects.order_by("number")] == ["cancelled", "waiting"]

    def test_a_rider_who_has_it_stands_on_the_list_until_it_is_back(
        self, cast: Walk, django_assert_num_queries: DjangoAssertNumQueries
    ) -> None:
        outing = cast.out()
        recall(cast)

        with django_assert_num_queries(2):
            (out,) = bookings.out_on_recalled(cast.tarrow)
        assert (out.outing, out.item, out.text) == (outing, cast.shed["M1"], "Ferrule may crack")

        cast.take_back(outing)
        assert bookings.out_on_recalled(cast.tarrow) == ()
        assert cast.state_of("M1") == "held_back"

    def test_kit_with_a_rider_is_not_pulled_from_under_them(self, cast: Walk) -> None:
        outing = cast.out()

        recall(cast)

        assert again(outing).state == "afloat"
        assert cast.state_of("M1") == "issued"

    @pytest.mark.parametrize(
        ("field", "values"),
        [("reason", {"reason": " "}), ("batch", {"batch": "no such"}), ("model", {"model_id": 0})],
    )
    def test_what_cannot_be_is_said_beside_its_field(
        self, cast: Walk, field: str, values: dict[str, Any]
    ) -> None:
        with pytest.raises(UnableToRecall) as refusal:
            recall(cast, **values)

        assert set(refusal.value.fields) == {field}
        assert not KitRecall.objects.exists()


class TestEnding:
    def end(self, cast: Walk, called: KitRecall, because: str = "Maker sent new ferrules") -> KitRecall:
        return end_recall(actor=cast.boss, recall_id=called.pk, because=because, now=cast.now + HOUR)

    def test_what_it_held_is_ready_again(self, cast: Walk) -> None:
        self.end(cast, recall(cast))

        assert cast.state_of("M1") == "ready"

    def test_what_something_else_holds_stays(self, cast: Walk) -> None:
        called = recall(cast)
        HoldBack.objects.create(
            item=cast.shed["M1"], cause="hand", subject="M1", text="Odd noise", since=cast.now
        )

        self.end(cast, called)

        assert cast.state_of("M1") == "held_back"

    def test_what_was_held_for_a_fault_as_well_waits_for_its_mending(self, cast: Walk) -> None:
        """An item that an incident holds back has a job and is not on the bench."""
        called = recall(cast)
        Job.objects.create(item=cast.shed["M1"], fault="Look for cracks", opened_at=cast.now)

        self.end(cast, called)

        assert cast.state_of("M1") == "held_back"
        cast.release(cast.mend(Job.objects.get()))
        assert cast.state_of("M1") == "ready"

    def test_a_fault_mended_does_not_end_the_recall(self, cast: Walk) -> None:
        recall(cast)
        Job.objects.create(item=cast.shed["M1"], fault="Look for cracks", opened_at=cast.now)

        cast.release(cast.mend(Job.objects.get()))

        assert cast.state_of("M1") == "held_back"

    def test_one_item_may_be_released_before_the_rest(self, cast: Walk) -> None:
        cast.one_more("M9", like="M1")
        recall(cast)
        held = HoldBack.objects.get(item__tag="M9")

        release_held(actor=cast.boss, hold_back_id=held.pk, because="New ferrule", now=cast.now)

        assert (Item.objects.get(tag="M9").state, cast.state_of("M1")) == ("ready", "held_back")

    def test_it_ends_once_and_says_why(self, cast: Walk) -> None:
        called = recall(cast)
        with pytest.raises(UnableToRecall):
            self.end(cast, called, " ")
        self.end(cast, called)

        with pytest.raises(RecallEnded):
            self.end(cast, called)


class TestPages:
    @pytest.fixture(autouse=True)
    def _at(self, cast: Walk, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(clock, "now", lambda: cast.now)

    def test_kit_is_called_back_and_its_riders_shown(self, cast: Walk) -> None:
        cast.out()
        jory, url = signed_in(cast.instructor), reverse("kit-recalls", args=[cast.tarrow.slug])
        sent = {"model": cast.shed["M1"].model_id, "batch": "", "reason": "Ferrule may crack"}

        answer = jory.post(url, sent, follow=True)

        assert "With riders now" in answer.content.decode()
        assert "Wren Alder" in answer.content.decode()

    def test_a_batch_that_is_not_here_is_said_beside_its_field(self, cast: Walk) -> None:
        url = reverse("kit-recalls", args=[cast.tarrow.slug])
        sent = {"model": cast.shed["M1"].model_id, "batch": "no such", "reason": "Ferrule may crack"}

        answer = signed_in(cast.instructor).post(url, sent)

        assert answer.status_code == 422
        assert Form(answer).said("batch").startswith("There is no such item here")
        assert Form(answer).value("reason") == "Ferrule may crack"

    def test_the_maker_gets_a_list(self, cast: Walk) -> None:
        called = recall(cast)
        Item.objects.filter(tag="M1").update(serial="=1+1", batch="2026-1")

        answer = signed_in(cast.desk).get(reverse("kit-recall-list", args=[cast.tarrow.slug, called.pk]))

        rows = answer.content.decode("utf-8-sig").splitlines()
        assert rows[0].startswith("tag,model,serial,batch")
        assert rows[1].startswith("M1,Lyme 400 RDM,'=1+1,2026-1")

    def test_a_manager_ends_it(self, cast: Walk) -> None:
        called = recall(cast)
        maud, url = signed_in(cast.manager), reverse("kit-recall", args=[cast.tarrow.slug, called.pk])

        assert maud.get(url).status_code == 200
        assert maud.post(url, {"because": "New ferrules"}).status_code == 302
        assert cast.state_of("M1") == "ready"
        assert queries.recalls_at(cast.tarrow)[0].ended_because == "New ferrules"
