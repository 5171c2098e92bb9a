"""Inspections: logged, due by the first counter, held back past their grace, released by who may."""

from collections.abc import Iterable
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from rentals.bench import queries, services
from rentals.bench.models import Inspection, Interval, Job, Meter, Setting
from rentals.bench.services import Found, StillHeldBack, UnableToInspect
from rentals.bench.states import GRACE_DAYS, OCCASIONS
from rentals.fleet.models import Cause, HoldBack, Item, Rig
from rentals.fleet.services import UnableToMove
from rentals.lib import clock
from rentals.lib.access import Actor, System, service
from rentals.lib.problems import NotAllowed
from rigging import wear
from rigging.wear.inspection import DEFAULT_GRACE_DAYS
from tests.rentals.browser import Form, signed_in
from tests.rentals.walk import DAY, Walk

BASE = "tendon or joint, back-up strap"
"""Every 40 water hours or 30 days: common practice, no source."""


def all_in_order(cast: Walk, tag: str, name: str) -> frozenset[int]:
    plans = wear.planned(cast.shed[tag].model.kind.replace("_", " "))
    (plan,) = (each for each in plans if each.rule.name == name)
    return frozenset(range(len(plan.points)))


def inspect(
    cast: Walk, tag: str = "T1", name: str = BASE, *, actor: Actor | None = None, **found: Any
) -> Inspection:
    usual = {"in_order": all_in_order(cast, tag, name)}
    return services.inspect(
        actor=actor or cast.jory,
        item_id=cast.shed[tag].pk,
        name=name,
        found=Found(**{**usual, **found}),
        now=cast.now,
    )


def bought(cast: Walk, days_ago: int, *tags: str) -> None:
    items = Item.objects.filter(pk__in=[cast.shed[tag].pk for tag in tags or ("T1",)])
    items.update(bought_on=cast.now.date() - timedelta(days=days_ago))


def sweep(cast: Walk) -> int:
    return services.hold_back_overdue(actor=service(System.HOLD_BACK), now=cast.now)


def held(cast: Walk, tag: str) -> list[str]:
    rows = HoldBack.objects.standing().filter(item=cast.shed[tag]).order_by("subject")
    return [row.subject for row in rows]


def standing(cast: Walk, tag: str) -> dict[str, wear.InspectionDue]:
    (row,) = queries.standings_of(Item.objects.filter(pk=cast.shed[tag].pk), today=cast.now.date())
    return {each.name: each.stands for each in row.dues}


def test_what_rows_take_for_granted_is_what_the_trade_says() -> None:
    assert tuple(OCCASIONS) == tuple(occasion.value for occasion in wear.Occasion)
    assert GRACE_DAYS == DEFAULT_GRACE_DAYS


class TestLogging:
    def test_it_records_item_date_result_who_and_next_due(self, cast: Walk) -> None:
        """What EN 365 asks a periodic examination to record, as a pattern."""
        record = inspect(cast)

        assert (record.item, record.at, record.passed) == (cast.shed["T1"], cast.now, True)
        assert record.by_id == cast.jory.user_id
        assert record.next_due == cast.now.date() + timedelta(days=30)
        assert all(point["ok"] for point in record.points)
        assert cast.told("item", cast.shed["T1"].pk)[0] == f"Inspected, {BASE}: passed"

    def test_a_defect_takes_the_item_to_the_bench(self, cast: Walk) -> None:
        record = inspect(cast, in_order=frozenset(), defects=" Bulge ")

        assert (record.passed, record.defects) == (False, "Bulge")
        assert Job.objects.get().fault == f"{BASE}: Bulge"
        assert cast.state_of("T1") == "on_bench"

    def test_a_point_left_open_asks_for_a_word(self, cast: Walk) -> None:
        with pytest.raises(UnableToInspect) as refusal:
            inspect(cast, in_order=frozenset({0}))

        assert set(refusal.value.fields) == {"defects"}
        assert not Inspection.objects.exists()

    def test_an_item_with_a_rider_is_inspected_when_it_is_back(self, cast: Walk) -> None:
        cast.issued()

        with pytest.raises(UnableToInspect, match="with a rider"):
            inspect(cast)

    def test_an_inspection_of_another_kind_is_refused(self, cast: Walk) -> None:
        with pytest.raises(UnableToInspect) as refusal:
            services.inspect(
                actor=cast.jory, item_id=cast.shed["S1"].pk, name=BASE, found=Found(), now=cast.now
            )

        assert set(refusal.value.fields) == {"name"}

    @pytest.mark.parametrize(
        ("carried_kg", "passed"),
        # ISO 80000-4: 50 N is 5.10 kg; nine tenths of the label is policy
        [(5.1, True), (4.5, False)],
    )
    def test_a_buoyancy_aid_is_judged_by_its_float_test(
        self, cast: Walk, carried_kg: float, passed: bool
    ) -> None:
        record = inspect(cast, "A1", "float test, seams, buckles", carried_kg=carried_kg)

        assert record.passed is passed
        assert cast.state_of("A1") == ("ready" if passed else "on_bench")

    @pytest.mark.parametrize("carried_kg", [None, -1.0, 61.0, float("nan")])
    def test_a_float_test_that_cannot_be_is_refused(self, cast: Walk, carried_kg: float | None) -> None:
        with pytest.raises(UnableToInspect) as refusal:
            inspect(cast, "A1", "float test, seams, buckles", carried_kg=carried_kg)

        assert set(refusal.value.fields) == {"carried_kg"}

    def test_sent_twice_it_is_logged_once(self, cast: Walk) -> None:
        key = uuid4()
        found = Found(in_order=all_in_order(cast, "T1", BASE))
        for _time in range(2):
            services.inspect(
                actor=cast.jory,
                item_id=cast.shed["T1"].pk,
                name=BASE,
                found=found,
                once=key,
                now=cast.now,
            )

        assert Inspection.objects.count() == 1


class TestRack:
    def look_over(self, cast: Walk, tags: Iterable[str], name: str = "weekly look") -> list[Inspection]:
        return services.inspect_rack(
            actor=cast.jory,
            station_id=cast.tarrow.pk,
            name=name,
            item_ids=[cast.shed[tag].pk for tag in tags],
            now=cast.now,
        )

    def test_each_item_has_a_record_of_its_own(self, cast: Walk) -> None:
        self.look_over(cast, ["T1", "T2"])

        assert {record.item.tag for record in Inspection.objects.filter(passed=True)} == {"T1", "T2"}

    def test_nothing_ticked_is_refused(self, cast: Walk) -> None:
        with pytest.raises(UnableToInspect):
            self.look_over(cast, [])

    def test_a_periodic_inspection_is_done_one_by_one(self, cast: Walk) -> None:
        with pytest.raises(UnableToInspect, match="no weekly look"):
            self.look_over(cast, ["T1"], BASE)


class TestDue:
    def test_it_counts_from_when_the_item_was_bought(self, cast: Walk) -> None:
        bought(cast, 29)
        assert not standing(cast, "T1")[BASE].due

        bought(cast, 30)
        assert standing(cast, "T1")[BASE].due

    def test_water_hours_weighed_by_wind_count_since_the_last(self, cast: Walk) -> None:
        Meter.objects.create(item=cast.shed["T1"], weighted_s=39 * 3600)
        assert standing(cast, "T1")[BASE].used == pytest.approx(39 / 40)

        inspect(cast)
        Meter.objects.update(weighted_s=49 * 3600)

        assert standing(cast, "T1")[BASE].used == pytest.approx(10 / 40)

    def test_a_failed_inspection_does_not_count_as_done(self, cast: Walk) -> None:
        bought(cast, 40)
        inspect(cast, defects="Bulge")

        assert standing(cast, "T1")[BASE].due

    def test_a_model_has_its_own_interval_before_its_kind(self, cast: Walk) -> None:
        bought(cast, 6, "T1", "M1")
        for model in (None, cast.shed["T1"].model):
            Interval.objects.create(
                station=cast.tarrow, kind="base", model=model, name=BASE, every_days=5 if model else 50
            )

        assert standing(cast, "T1")[BASE].used == pytest.approx(6 / 5)

    def test_an_item_of_unknown_age_is_counted_by_hours_alone(self, cast: Walk) -> None:
        assert cast.shed["T1"].bought_on is None
        assert not any(each.due for each in standing(cast, "T1").values())


class TestHeldBackByItself:
    @pytest.mark.parametrize(("days", "state"), [(7, "ready"), (8, "ready"), (9, "held_back")])
    def test_past_due_and_a_day_of_grace_it_is_held_back(self, cast: Walk, days: int, state: str) -> None:
        bought(cast, days)

        sweep(cast)

        assert cast.state_of("T1") == state

    def test_the_grace_is_a_setting(self, cast: Walk) -> None:
        Setting.objects.create(station=cast.tarrow, grace_days=5)
        bought(cast, 12)
        assert sweep(cast) == 0

        bought(cast, 13)
        assert sweep(cast) == 1

    def test_its_journal_says_why_and_twice_is_once(self, cast: Walk) -> None:
        bought(cast, 9)

        assert (sweep(cast), sweep(cast)) == (1, 0)
        assert held(cast, "T1") == ["weekly look"]
        assert cast.told("item", cast.shed["T1"].pk)[0].startswith("Held back: weekly look: 9 of 7 days")

    def test_it_is_neither_offered_nor_issued(self, cast: Walk) -> None:
        outing = cast.kitted()
        bought(cast, 9)
        sweep(cast)

        assert not Item.objects.fit_to_give().filter(tag="T1").exists()
        with pytest.raises(UnableToMove, match="T1 is held back"):
            cast.issue(outing)

    def test_a_rig_that_stands_built_is_taken_apart(self, cast: Walk) -> None:
        cast.take_back(cast.out(), stays_rigged=True)
        bought(cast, 9)

        sweep(cast)

        assert Rig.objects.get().derigged_at == cast.now
        assert (cast.state_of("T1"), cast.state_of("S2")) == ("held_back", "ready")

    @pytest.mark.parametrize("stays_rigged", [False, True])
    def test_with_a_rider_it_goes_aside_when_it_is_back(self, cast: Walk, stays_rigged: bool) -> None:
        outing = cast.out()
        bought(cast, 9)
        sweep(cast)
        assert cast.state_of("T1") == "issued"

        cast.take_back(outing, stays_rigged=stays_rigged)

        assert cast.state_of("T1") == "held_back"
        assert {cast.state_of(tag) for tag in ("S2", "M1", "B1", "X1", "D1")} == {"ready"}

    def test_on_the_bench_it_stays_and_is_held_back_when_mended(self, cast: Walk) -> None:
        job = cast.mend(cast.faulty("T1"))
        bought(cast, 9)
        sweep(cast)
        assert cast.state_of("T1") == "on_bench"

        cast.release(job)

        assert cast.state_of("T1") == "held_back"

    def test_it_asks_no_more_for_a_larger_shed(
        self, cast: Walk, django_assert_num_queries: DjangoAssertNumQueries
    ) -> None:
        assert cast.shed
        with django_assert_num_queries(4):
            queries.standings(cast.tarrow, today=cast.now.date())
        for number in range(10):
            cast.one_more(f"T{number + 5}", like="T1")
        with django_assert_num_queries(4):
            queries.standings(cast.tarrow, today=cast.now.date())


class TestRelease:
    def test_who_inspects_it_and_may_release_gives_it_back_at_once(self, cast: Walk) -> None:
        bought(cast, 9)
        sweep(cast)

        inspect(cast, name="weekly look")

        assert cast.state_of("T1") == "ready"
        assert HoldBack.objects.get().lifted_by_id == cast.jory.user_id

    def test_every_reason_must_be_settled(self, cast: Walk) -> None:
        bought(cast, 32)
        sweep(cast)
        assert held(cast, "T1") == [BASE, "weekly look"]

        inspect(cast, name="weekly look")
        assert cast.state_of("T1") == "held_back"

        inspect(cast)
        assert cast.state_of("T1") == "ready"

    def test_where_a_manager_releases_an_instructor_is_told_so(self, cast: Walk) -> None:
        Setting.objects.create(station=cast.tarrow, released_by="manager")
        bought(cast, 9)
        sweep(cast)
        inspect(cast, name="weekly look")
        (row,) = HoldBack.objects.standing()

        with pytest.raises(NotAllowed, match="you must be manager"):
            services.release_held(actor=cast.jory, hold_back_id=row.pk, because="Looked", now=cast.now)
        services.release_held(actor=cast.boss, hold_back_id=row.pk, because="Looked", now=cast.now)

        assert cast.state_of("T1") == "ready"

    def test_past_its_inspection_nobody_releases_it_uninspected(self, cast: Walk) -> None:
        bought(cast, 9)
        sweep(cast)

        with pytest.raises(StillHeldBack, match="Inspect it first"):
            services.release_held(
                actor=cast.boss, hold_back_id=HoldBack.objects.get().pk, because="Fine", now=cast.now
            )

        assert cast.state_of("T1") == "held_back"

    def test_it_asks_what_was_done(self, cast: Walk) -> None:
        row = HoldBack.objects.create(
            item=cast.shed["T1"], cause=Cause.HAND, subject="T1", text="Odd noise", since=cast.now
        )

        with pytest.raises(UnableToInspect) as refusal:
            services.release_held(actor=cast.boss, hold_back_id=row.pk, because=" ", now=cast.now)

        assert set(refusal.value.fields) == {"because"}


class TestSettling:
    def settle(self, cast: Walk, **values: Any) -> Setting:
        usual = {"grace_days": 2, "released_by": "manager"}
        return services.set_bench(
            actor=cast.boss, station_id=cast.tarrow.pk, **{**usual, **values}, now=cast.now
        )

    def test_it_is_kept_and_told(self, cast: Walk) -> None:
        setting = self.settle(cast)

        assert (setting.grace_days, setting.released_by) == (2, "manager")
        assert "2 days of grace" in cast.told("station", cast.tarrow.pk)[0]

    @pytest.mark.parametrize(
        ("field", "value"),
        [
            ("grace_days", -1),
            ("grace_days", 31),
            ("released_by", "desk"),
        ],
    )
    def test_what_cannot_be_is_said_beside_its_field(self, cast: Walk, field: str, value: object) -> None:
        with pytest.raises(UnableToInspect) as refusal:
            self.settle(cast, **{field: value})

        assert set(refusal.value.fields) == {field}

    def interval(self, cast: Walk, **values: Any) -> Interval | None:
        usual = {"kind": "base", "model_id": None, "name": BASE, "every": {"every_days": 10.0}}
        return services.set_interval(
            actor=cast.boss, station_id=cast.tarrow.pk, **{**usual, **values}, now=cast.now
        )

    def test_an_interval_holds_from_now_on(self, cast: Walk) -> None:
        bought(cast, 12)
        self.interval(cast)

        assert standing(cast, "T1")[BASE].due

    def test_none_at_all_brings_the_usual_back(self, cast: Walk) -> None:
        self.interval(cast)

        assert self.interval(cast, every={}) is None
        assert not Interval.objects.exists()

    @pytest.mark.parametrize(
        ("field", "values"),
        [
            ("kind", {"kind": "kite"}),
            ("name", {"name": "polish"}),
            ("model", {"model_id": 0}),
            ("every_days", {"every": {"every_days": 0.0}}),
            ("every_hours", {"every": {"every_hours": 10_001.0}}),
        ],
    )
    def test_an_interval_that_cannot_be_is_said_beside_its_field(
        self, cast: Walk, field: str, values: dict[str, Any]
    ) -> None:
        with pytest.raises(UnableToInspect) as refusal:
            self.interval(cast, **values)

        assert set(refusal.value.fields) == {field}


class TestPages:
    @pytest.fixture(autouse=True)
    def _at(self, cast: Walk, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(clock, "now", lambda: cast.now)

    def test_a_rack_is_looked_over_in_one_go(self, cast: Walk) -> None:
        bought(cast, 7, "T1", "T2")
        jory, url = signed_in(cast.instructor), reverse("inspections", args=[cast.tarrow.slug])
        ticks = {f"base-item_{cast.shed[tag].pk}": "on" for tag in ("T1", "T2")}

        assert jory.get(url).status_code == 200
        assert jory.post(url, {"kind": "base", **ticks}).status_code == 302
        assert Inspection.objects.filter(name="weekly look").count() == 2

    def test_an_inspection_is_gone_through_point_by_point(self, cast: Walk) -> None:
        assert cast.shed
        jory, url = signed_in(cast.instructor), reverse("inspect", args=[cast.tarrow.slug, "A1"])
        name = "float test, seams, buckles"
        ticks = {f"point_{number}": "on" for number in range(4)}

        short = jory.post(url, {"name": name, **ticks, "note": "Wet"})
        assert short.status_code == 422
        assert Form(short).said("carried_kg").startswith("Enter the mass")
        assert Form(short).value("note") == "Wet"

        assert jory.post(url, {"name": name, **ticks, "carried_kg": "5,2"}).status_code == 302
        assert Inspection.objects.get().carried_kg == pytest.approx(5.2)

    def test_what_is_held_back_stands_on_the_page_with_its_reason(self, cast: Walk) -> None:
        bought(cast, 9)
        sweep(cast)

        page = signed_in(cast.desk).get(reverse("inspections", args=[cast.tarrow.slug])).content.decode()

        assert "past its inspection: weekly look: 9 of 7 days used, due." in page

    def test_a_manager_settles_the_intervals(self, cast: Walk) -> None:
        assert cast.shed
        maud, url = signed_in(cast.manager), reverse("intervals", args=[cast.tarrow.slug])

        sent = {"which": "interval", "inspection": f"base:{BASE}", "model": "", "every_days": "10"}
        assert maud.post(url, sent).status_code == 302
        assert maud.post(url, {"which": "setting", "grace_days": "99"}).status_code == 422
        assert "10 days" in maud.get(url).content.decode()

    def test_a_release_asks_what_was_done(self, cast: Walk) -> None:
        row = HoldBack.objects.create(
            item=cast.shed["T1"], cause=Cause.HAND, subject="T1", text="Odd noise", since=cast.now - DAY
        )
        Item.objects.filter(pk=row.item_id).update(state="held_back")
        maud, url = signed_in(cast.manager), reverse("release-held", args=[cast.tarrow.slug, row.pk])

        assert maud.get(url).status_code == 200
        assert maud.post(url, {"because": ""}).status_code == 422
        assert maud.post(url, {"because": "Listened to it"}).status_code == 302
        assert cast.state_of("T1") == "ready"
