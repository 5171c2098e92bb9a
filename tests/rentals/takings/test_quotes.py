"""What a party is quoted, why, and that it stays what it was when the list changes."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from rentals.lib.problems import NotVisible
from rentals.takings import queries, services
from rentals.takings.queries import UnableToQuote, Wanted
from rentals.takings.services import UnableToPrice
from tests.rentals.takings.shop import SINCE, Shop, eur
from tests.rentals.walk import DAY, HOUR, MINUTE, again

JULY = date(2027, 7, 1), date(2027, 7, 31)


def booking_quote(shop: Shop, **values: object) -> queries.Quote:
    cast = shop.cast
    usual = {
        "kind": "rental",
        "riders": 2,
        "starts_at": cast.at(11),
        "ends_at": cast.at(13),
        "as_of": cast.now,
    }
    return queries.quote_booking(cast.tarrow, **{**usual, **values})  # type: ignore[arg-type]  # a test's words


def test_a_rental_is_quoted_by_time_for_each_rider(shop: Shop) -> None:
    quote = booking_quote(shop)

    (line,) = quote.lines
    assert (line.text, line.count, line.each, line.total) == (
        "Full kit, 2 h 00 min",
        2,
        eur("50"),
        eur("100"),
    )
    assert line.included == "board, rig, suit and buoyancy aid"
    assert quote.total == eur("100")
    assert quote.deposit(shop.terms.deposit_pct) == eur("20")


def test_every_line_says_why_it_costs_that(shop: Shop) -> None:
    (line,) = booking_quote(shop).lines

    assert "2 h at EUR 25.00" in line.reasons[0].text
    assert "a half-day, up to 4 h would cost EUR 60.00" in line.reasons[0].text
    assert line.reasons[-1].text.startswith("EUR 100.00 holds 23 % tax: EUR 18.70")


def test_a_lesson_is_quoted_by_the_seat_with_its_own_tax(shop: Shop) -> None:
    (line,) = booking_quote(shop, kind="lesson").lines

    assert (line.each, line.total, line.tax_pct) == (eur("55"), eur("110"), Decimal(6))
    assert line.tax == eur("6.23")


def test_a_quote_sums_its_taxes_by_rate(shop: Shop) -> None:
    wanted = [
        Wanted(kind="rental", starts_at=shop.cast.at(11), ends_at=shop.cast.at(12)),
        Wanted(good="harness", unit="piece", count=2, day=shop.cast.now.date()),
        Wanted(kind="lesson", starts_at=shop.cast.at(11), ends_at=shop.cast.at(12)),
    ]

    quote = queries.quote(shop.cast.tarrow, wanted, as_of=shop.cast.now)

    assert quote.total == eur("89")
    assert [(str(pct), net, tax) for pct, net, tax in quote.taxes] == [
        ("6.00", eur("51.89"), eur("3.11")),
        ("23.00", eur("27.65"), eur("6.35")),
    ]


@pytest.mark.parametrize(
    ("unit", "count", "total"), [("week", 2, "50"), ("month", 1, "80"), ("season", 1, "240")]
)
def test_storage_is_quoted_by_the_unit(shop: Shop, unit: str, count: int, total: str) -> None:
    wanted = Wanted(kind="storage", unit=unit, count=count, day=shop.cast.now.date())

    assert queries.quote(shop.cast.tarrow, [wanted], as_of=shop.cast.now).total == eur(total)


@pytest.mark.parametrize(
    ("wanted", "says"),
    [
        (Wanted(good="kite", unit="piece", day=SINCE), "Nothing called kite is sold here"),
        (Wanted(kind="extra", unit="piece", day=SINCE), "name the usual extra"),
        (Wanted(good="harness", unit="week", day=SINCE), "no price per week"),
        (Wanted(good="harness", unit="piece", count=0, day=SINCE), "how many"),
        (Wanted(good="harness"), "a time, or a unit and a day"),
        (Wanted(good="harness", unit="piece", day=SINCE - DAY), "no price per piece"),
    ],
    ids=[
        "no such good",
        "no usual one",
        "no such unit",
        "none of it",
        "neither time nor unit",
        "before the list",
    ],
)
def test_what_has_no_price_is_refused_in_words(shop: Shop, wanted: Wanted, says: str) -> None:
    with pytest.raises(UnableToQuote, match=says):
        queries.quote(shop.cast.tarrow, [wanted], as_of=shop.cast.now)


def test_a_station_without_prices_says_who_sets_them(shop: Shop) -> None:
    with pytest.raises(UnableToQuote, match="Ask a manager"):
        queries.quote(shop.cast.kettle, [], as_of=shop.cast.now)


class TestSeasons:
    def test_in_a_season_its_own_price_holds(self, shop: Shop) -> None:
        season = shop.keep_season("High season", *JULY)
        shop.set_price("full-kit", "hour", "32", season_id=season.pk)

        line = booking_quote(shop, ends_at=shop.cast.at(12)).lines[0]

        assert line.each == eur("32")
        assert any("lies in High season" in reason.text for reason in line.reasons)

    def test_what_a_season_does_not_price_costs_as_ever(self, shop: Shop) -> None:
        shop.keep_season("High season", *JULY)

        assert booking_quote(shop).total == eur("100")

    def test_the_day_after_a_season_costs_as_ever(self, shop: Shop) -> None:
        season = shop.keep_season("High season", *JULY)
        shop.set_price("full-kit", "hour", "32", season_id=season.pk)
        later = date(2027, 8, 1) - shop.cast.now.date()

        start = shop.cast.at(11) + later
        assert booking_quote(shop, starts_at=start, ends_at=start + HOUR).lines[0].each == eur("25")

    def test_a_dropped_season_prices_nothing_new_but_all_that_was_quoted(self, shop: Shop) -> None:
        season = shop.keep_season("High season", *JULY)
        shop.set_price("full-kit", "hour", "32", season_id=season.pk)
        before = booking_quote(shop)
        services.drop_season(
            actor=shop.cast.boss,
            station_id=shop.cast.tarrow.pk,
            season_id=season.pk,
            now=shop.cast.now + MINUTE,
        )

        assert booking_quote(shop, as_of=shop.cast.now + MINUTE).total == eur("100")
        assert booking_quote(shop) == before

    def test_two_seasons_do_not_share_a_day(self, shop: Shop) -> None:
        shop.keep_season("High season", *JULY)

        with pytest.raises(UnableToPrice, match="High season has") as refused:
            shop.keep_season("Feast", JULY[1], JULY[1] + DAY)
        assert "first_day" in refused.value.fields
        shop.keep_season("August", JULY[1] + DAY, JULY[1] + 2 * DAY)

    def test_a_season_of_elsewhere_does_not_exist_here(self, shop: Shop) -> None:
        with pytest.raises(NotVisible):
            services.drop_season(
                actor=shop.cast.boss, station_id=shop.cast.tarrow.pk, season_id=99, now=shop.cast.now
            )


class TestAChangedList:
    def test_a_promise_keeps_the_price_of_its_moment(self, shop: Shop) -> None:
        before = booking_quote(shop)

        shop.set_price("full-kit", "hour", "40", now=shop.cast.now + MINUTE)
        shop.set_price("full-kit", "half_day", None, now=shop.cast.now + MINUTE)

        assert booking_quote(shop) == before
        assert booking_quote(shop, as_of=shop.cast.now + MINUTE).total == eur("160")

    def test_a_price_holds_from_its_day_on(self, shop: Shop) -> None:
        shop.set_price("full-kit", "hour", "30", valid_from=shop.cast.now.date() + DAY)

        start = shop.cast.at(11)
        assert booking_quote(shop, ends_at=start + HOUR).lines[0].each == eur("25")
        assert booking_quote(shop, starts_at=start + DAY, ends_at=start + DAY + HOUR).lines[0].each == eur(
            "30"
        )

    def test_a_rate_of_tax_holds_from_its_day_on(self, shop: Shop) -> None:
        shop.set_tax("standard", "24", since=shop.cast.now.date() + DAY)

        start = shop.cast.at(11)
        assert booking_quote(shop).lines[0].tax_pct == Decimal(23)
        assert booking_quote(shop, starts_at=start + DAY, ends_at=start + DAY + HOUR).lines[
            0
        ].tax_pct == Decimal(24)

    def test_what_is_off_the_list_is_not_sold(self, shop: Shop) -> None:
        shop.keep_good(
            services.GoodFacts(code="full-kit", name="Full kit", kind="rental", tax="standard", sold=False)
        )

        with pytest.raises(UnableToQuote):
            booking_quote(shop, good="full-kit")

    def test_a_new_usual_good_takes_the_place_of_the_old(self, shop: Shop) -> None:
        shop.keep_good(
            services.GoodFacts(code="board", name="Board", kind="rental", tax="standard", usual=True)
        )

        assert booking_quote(shop).total == eur("60")


class TestStayingOut:
    @pytest.mark.parametrize(("until", "more"), [(14, "10.00"), (15, "10.00"), (17, "35.00"), (13, "0.00")])
    def test_an_extension_costs_the_difference_to_the_whole_time(
        self, shop: Shop, until: int, more: str
    ) -> None:
        """From eleven to one costs 50.00; to two or three a half-day, 60.00; to five a day, 85.00."""
        outing = again(shop.cast.booked()[0])

        quote = queries.quote_extension(outing, ends_at=shop.cast.at(until))

        assert quote.total == eur(more)

    def test_it_is_priced_by_the_list_of_the_booking(self, shop: Shop) -> None:
        outing = again(shop.cast.booked()[0])
        shop.set_price("full-kit", "half_day", "70", now=shop.cast.now + MINUTE)

        assert queries.quote_extension(outing, ends_at=shop.cast.at(15)).total == eur("10")


def test_the_list_of_a_day_shows_what_is_sold_with_its_prices(shop: Shop) -> None:
    rows = {row.good.code: row for row in queries.price_list(shop.cast.tarrow, SINCE, as_of=shop.cast.now)}

    assert rows.keys() == {"full-kit", "board", "first-lesson", "store", "harness"}
    assert dict(rows["full-kit"].prices)["hour"] == eur("25")  # type: ignore[index]  # a unit is its word
    assert rows["full-kit"].card_hours == 10


def test_a_quote_asks_three_times_however_long_it_is(shop: Shop) -> None:
    wanted = [Wanted(good="harness", unit="piece", day=SINCE)] * 9

    with CaptureQueriesContext(connection) as asked:
        queries.quote(shop.cast.tarrow, wanted, as_of=shop.cast.now)

    assert len(asked) == 3


TERMS = [
    ("currency", "EUX", "ISO 4217"),
    ("seller_name", " ", "receipts"),
    ("half_day_min", 59, "60 to 720"),
    ("hour_step_min", 61, "5 to 60"),
    ("late_grace_min", 121, "0 to 120"),
    ("late_step_min", 4, "5 to 240"),
    ("deposit_pct", 101, "0 to 100"),
    ("credit_days", 0, "1 to 3650"),
    ("late_step", Decimal("0.001"), "2 decimals"),
    ("excess", Decimal(-1), "from 0 up"),
    ("late_most", Decimal(4), "at least the fee of one step"),
]


@pytest.mark.parametrize(("name", "value", "says"), TERMS, ids=[name for name, *_ in TERMS])
def test_terms_that_cannot_be_are_refused_beside_their_field(
    shop: Shop, name: str, value: object, says: str
) -> None:
    with pytest.raises(UnableToPrice, match=says) as refused:
        shop.keep_terms(**{name: value})
    assert refused.value.fields.keys() == {name}


def test_the_currency_stays_once_there_are_prices(shop: Shop) -> None:
    with pytest.raises(UnableToPrice, match="it stays"):
        shop.keep_terms(currency="GBP")


PRICES = [
    ("good", {"good": "kite"}, "of the list"),
    ("unit", {"unit": "fortnight"}, "Choose one of"),
    ("season_id", {"season_id": 99}, "season of the list"),
    ("amount", {"amount": Decimal("0.001")}, "2 decimals"),
    ("amount", {"amount": Decimal(-1)}, "from 0 up"),
    ("card_hours", {"unit": "card"}, "hours on a season card"),
    ("card_hours", {"card_hours": 10}, "only there"),
    ("card_hours", {"unit": "card", "card_hours": 1001}, "1 to 1000"),
]


@pytest.mark.parametrize(("field", "wrong", "says"), PRICES)
def test_a_price_that_cannot_be_is_refused_beside_its_field(
    shop: Shop, field: str, wrong: dict[str, object], says: str
) -> None:
    usual = {"good": "full-kit", "unit": "hour", "amount": Decimal(1), "valid_from": SINCE}

    with pytest.raises(UnableToPrice, match=says) as refused:
        services.set_price(
            actor=shop.cast.boss,
            station_id=shop.cast.tarrow.pk,
            now=shop.cast.now,
            **{**usual, **wrong},  # type: ignore[arg-type]
        )
    assert refused.value.fields.keys() == {field}


GOODS = [
    ("tax", {"tax": "none"}),
    ("code", {"code": "Full Kit"}),
    ("name", {"name": " "}),
    ("kind", {"kind": "kite"}),
    ("usual", {"usual": True, "sold": False}),
]


@pytest.mark.parametrize(("field", "wrong"), GOODS)
def test_a_good_that_cannot_be_is_refused_beside_its_field(
    shop: Shop, field: str, wrong: dict[str, object]
) -> None:
    usual = {"code": "fin", "name": "Fin", "kind": "extra", "tax": "standard"}

    with pytest.raises(UnableToPrice) as refused:
        shop.keep_good(services.GoodFacts(**{**usual, **wrong}))  # type: ignore[arg-type]
    assert refused.value.fields.keys() == {field}


@pytest.mark.parametrize(
    ("field", "name", "pct", "since"),
    [
        ("name", " ", "5", SINCE),
        ("pct", "low", "100", SINCE),
        ("pct", "low", "5.001", SINCE),
        ("pct", "low", "NaN", SINCE),
        ("since", "standard", "24", SINCE),
    ],
)
def test_a_tax_that_cannot_be_is_refused_beside_its_field(
    shop: Shop, field: str, name: str, pct: str, since: date
) -> None:
    with pytest.raises(UnableToPrice) as refused:
        shop.set_tax(name, pct, since)
    assert refused.value.fields.keys() == {field}


def test_a_quote_outlives_a_change_of_the_clocks(shop: Shop) -> None:
    """Portugal, 31 October 2027: the clocks go back at two, so one to three is three hours."""
    night = date(2027, 10, 31) - shop.cast.now.date()
    start = shop.cast.at(0, 30) + night

    line = booking_quote(shop, starts_at=start, ends_at=start + timedelta(hours=2)).lines[0]

    assert line.text == "Full kit, 3 h 00 min"
