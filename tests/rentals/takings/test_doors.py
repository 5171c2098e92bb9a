"""Who gets through: every service of the takings, by role, at the own and at another station."""

import ast
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from rentals.audit.models import Entry
from rentals.errands.models import ErrandKind
from rentals.lib.access import NOBODY, Actor, System, service
from rentals.lib.problems import NotAllowed, NotVisible
from rentals.takings import services
from rentals.takings.models import Charge
from rentals.takings.queries import Wanted
from tests.rentals.errands.under_way import WORKER, underway
from tests.rentals.takings.shop import GOODS, Shop
from tests.rentals.test_doors import ROLES

Call = Callable[..., object]


def here(shop: Shop, do: Callable[..., object], **values: object) -> Call:
    """A call at the station of the shop."""
    return partial(do, station_id=shop.cast.tarrow.pk, now=shop.cast.now, **values)


def drop_season(shop: Shop) -> Call:
    season = shop.keep_season("July", date(2027, 7, 1), date(2027, 7, 31))
    return here(shop, services.drop_season, season_id=season.pk)


DOORS: dict[str, tuple[Callable[[Shop], Call], str]] = {
    "keep_terms": (
        lambda shop: here(
            shop, services.keep_terms, facts=services.TermsFacts(currency="EUR", seller_name="Tarrow")
        ),
        "M",
    ),
    "set_tax_rate": (
        lambda shop: here(
            shop, services.set_tax_rate, name="standard", pct=Decimal(24), since=date(2028, 1, 1)
        ),
        "M",
    ),
    "keep_good": (lambda shop: here(shop, services.keep_good, facts=GOODS[0]), "M"),
    "keep_season": (
        lambda shop: here(
            shop,
            services.keep_season,
            name="July",
            first_day=date(2027, 7, 1),
            last_day=date(2027, 7, 31),
        ),
        "M",
    ),
    "drop_season": (drop_season, "M"),
    "set_cancel_rule": (
        lambda shop: here(shop, services.set_cancel_rule, free_hours=24, share_pct=50, missed_pct=100),
        "M",
    ),
    "set_price": (
        lambda shop: here(
            shop,
            services.set_price,
            good="full-kit",
            unit="hour",
            amount=Decimal(26),
            valid_from=date(2027, 8, 1),
        ),
        "M",
    ),
}


def _more_doors() -> dict[str, tuple[Callable[[Shop], Call], str]]:
    """Doors on Wren's account; each is opened by somebody, at the shop's moment."""

    def on(prepare: Callable[[Shop], object], do: Callable[..., object]) -> Callable[[Shop], Call]:
        def door(shop: Shop) -> Call:
            made = prepare(shop)
            assert shop.party
            return partial(do, shop, made)

        return door

    none: Callable[[Shop], object] = lambda shop: None  # noqa: E731 - a table entry, not a function
    return {
        "charge_due": (on(none, lambda shop, _, **who: shop.charge(**who)), "DM"),
        "charge_named": (on(none, lambda shop, _, **who: shop.name_a_price(**who)), "DM"),
        "charge_goods": (on(none, charge_goods), "DM"),
        "take_back_charge": (on(lambda shop: shop.name_a_price(), take_back), "M"),
        "take_payment": (on(none, lambda shop, _, **who: shop.pay("5", **who)), "DM"),
        "refund": (on(lambda shop: shop.pay("5"), lambda shop, _, **who: shop.refund("5", **who)), "M"),
        "hold_excess": (on(none, lambda shop, _, **who: shop.hold("5", **who)), "DM"),
        "return_excess": (
            on(lambda shop: shop.hold("5"), lambda shop, _, **who: shop.give_back("5", **who)),
            "DM",
        ),
        "keep_excess": (
            on(
                lambda shop: (shop.hold("5"), shop.name_a_price()),
                lambda shop, _, **who: shop.keep("5", **who),
            ),
            "DM",
        ),
        "sell_voucher": (on(none, lambda shop, _, **who: shop.sell_voucher(**who)), "DM"),
        "redeem": (
            on(
                lambda shop: (shop.sell_voucher(), shop.name_a_price())[0],
                lambda shop, voucher, **who: shop.redeem(voucher.code, **who),
            ),
            "DM",
        ),
        "give_credit": (on(lambda shop: shop.pay("5"), give_credit), "DM"),
        "credit_outing": (on(lambda shop: (shop.charge(), shop.pay("50")), credit_outing), "DM"),
        "sell_pass": (on(none, lambda shop, _, **who: shop.sell_card(**who)), "DM"),
        "cancel_outing": (on(none, call_off), "DM"),
        "store_kit": (on(none, store), "DM"),
        "fetch_kit": (
            on(
                lambda shop: store(shop, None),
                lambda shop, stored, **who: services.fetch_kit(stored_id=stored.pk, **shop.who(**who)),
            ),
            "DIM",
        ),
        "close_day": (on(none, lambda shop, _, **who: shop.close("0", **who)), "M"),
        "put_cash": (on(none, put_cash), "M"),
    }


def charge_goods(shop: Shop, _made: object, **who: Any) -> object:
    wanted = [Wanted(good="harness", unit="piece", day=shop.cast.now.date())]
    return services.charge_goods(party_id=shop.party.pk, wanted=wanted, **shop.who(**who))


def take_back(shop: Shop, charge: Charge, **who: Any) -> object:
    return services.take_back_charge(charge_id=charge.pk, why="Wrong", **shop.who(**who))


def give_credit(shop: Shop, _made: object, **who: Any) -> object:
    return services.give_credit(party_id=shop.party.pk, amount=Decimal(5), why="Later", **shop.who(**who))


def credit_outing(shop: Shop, _made: object, **who: Any) -> object:
    return services.credit_outing(outing_id=shop.outing.pk, why="No wind", **shop.who(**who))


def call_off(shop: Shop, _made: object, **who: Any) -> object:
    return services.cancel_outing(outing_id=shop.outing.pk, missed=False, reason="Ill", **shop.who(**who))


def store(shop: Shop, _made: object, **who: Any) -> Any:
    return services.store_kit(
        party_id=shop.party.pk,
        good="store",
        unit="week",
        count=1,
        first_day=shop.cast.now.date(),
        what="Board",
        **shop.who(**who),
    )


def put_cash(shop: Shop, _made: object, **who: Any) -> object:
    return services.put_cash(station_id=shop.cast.tarrow.pk, amount=Decimal(5), **shop.who(**who))


DOORS |= _more_doors()


BY_ITSELF = {"keep_entries"}
"""What only the service itself does."""


def test_nobody_but_the_service_itself_keeps_a_long_table(shop: Shop) -> None:
    taken = underway(shop.cast, ErrandKind.GIVE_ENTRIES)
    call = partial(services.keep_entries, taken=taken, table="", entries=0, now=shop.cast.now)

    cast = shop.cast
    others: list[Actor] = [cast.ida, cast.jory, cast.boss, NOBODY, service(System.SEND)]
    for actor in others:
        with pytest.raises(NotAllowed, match="Only the service itself"):
            call(actor=actor)
    call(actor=WORKER)


def test_every_service_that_writes_has_a_door_here() -> None:
    writing = {
        node.name
        for path in Path(services.__file__).parent.glob("*.py")
        for node in ast.parse(path.read_text()).body
        if isinstance(node, ast.FunctionDef)
        if "write" in {ast.unparse(each) for each in node.decorator_list}
    }

    assert writing == DOORS.keys() | BY_ITSELF


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("name", DOORS)
def test_a_role_gets_through_where_it_may(shop: Shop, name: str, role: str) -> None:
    door, may = DOORS[name]
    call, actor = door(shop), ROLES[role](shop.cast)
    before = Entry.objects.count()

    if role in may:
        call(actor=actor)
        assert Entry.objects.count() > before
    else:
        with pytest.raises(NotAllowed, match="Ask a colleague who is"):
            call(actor=actor)
        assert Entry.objects.count() == before


@pytest.mark.parametrize("name", DOORS)
def test_from_elsewhere_there_is_nothing_here(shop: Shop, name: str) -> None:
    call = DOORS[name][0](shop)
    before = Entry.objects.count()
    cast = shop.cast
    strangers: list[Actor] = [cast.rhys, cast.actor(cast.stranger), NOBODY, service(*System)]

    for actor in strangers:
        with pytest.raises(NotVisible):
            call(actor=actor)

    assert Entry.objects.count() == before
