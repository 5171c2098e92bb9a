"""Money: whole minor units of one currency, never a float; and the named rule by which it is rounded."""

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal, InvalidOperation
from typing import Final

from rigging.units import BadValue

_BY_MINOR_UNITS: Final = {
    0: "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX VND VUV XAF XOF XPF",
    2: (
        "AED AFN ALL AMD AOA ARS AUD AWG AZN BAM BBD BDT BGN BMD BND BOB BRL BSD BTN BWP BYN BZD CAD CDF CHF "
        "CNY COP CRC CUP CVE CZK DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GTQ GYD HKD HNL HTG "
        "HUF IDR ILS INR IRR JMD KES KGS KHR KPW KYD KZT LAK LBP LKR LRD LSL MAD MDL MGA MKD MMK MNT MOP MRU "
        "MUR MVR MWK MXN MYR MZN NAD NGN NIO NOK NPR NZD PAB PEN PGK PHP PKR PLN QAR RON RSD RUB SAR SBD SCR "
        "SDG SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL THB TJS TMT TOP TRY TTD TWD TZS UAH USD UYU UZS VED "
        "VES WST XCD XCG YER ZAR ZMW ZWG"
    ),
    3: "BHD IQD JOD KWD LYD OMR TND",
}
CURRENCIES: Final = {code: digits for digits, codes in _BY_MINOR_UNITS.items() for code in codes.split()}
"""Decimals of each currency in use (ISO 4217, list one, funds and metals left out). Status: published."""

ROUNDING: Final = ROUND_HALF_UP
"""Half up: a tie goes away from zero, as roundTiesToAway of IEEE 754-2008, 4.3.1. Status: policy."""

ROUNDING_RULE: Final = "rounded half up to the minor unit"
LARGEST: Final = 10**12
"""Minor units that a single amount may have; far above any till. Status: policy."""


@dataclass(frozen=True, slots=True)
class Money:
    """An amount of one currency in its minor units: 12.50 EUR is 1250."""

    minor: int
    currency: str

    def __post_init__(self) -> None:
        digits_of(self.currency)
        if abs(self.minor) > LARGEST:
            raise BadValue("amount", self.minor, self.currency, "an amount that a till could hold")

    @property
    def amount(self) -> Decimal:
        """The amount in whole units, with as many decimals as the currency has."""
        return Decimal(self.minor).scaleb(-digits_of(self.currency))

    def __str__(self) -> str:
        return f"{self.currency} {self.amount:,}"

    def __add__(self, other: "Money") -> "Money":
        return Money(self.minor + self._same(other), self.currency)

    def __sub__(self, other: "Money") -> "Money":
        return Money(self.minor - self._same(other), self.currency)

    def __neg__(self) -> "Money":
        return Money(-self.minor, self.currency)

    def __mul__(self, count: int) -> "Money":
        return Money(self.minor * count, self.currency)

    def __lt__(self, other: "Money") -> bool:
        return self.minor < self._same(other)

    def __le__(self, other: "Money") -> bool:
        return self.minor <= self._same(other)

    def __bool__(self) -> bool:
        return self.minor != 0

    def times(self, factor: Decimal) -> "Money":
        """Return the amount times a factor, rounded half up to the minor unit."""
        return Money(half_up(Decimal(self.minor) * factor), self.currency)

    def _same(self, other: "Money") -> int:
        if other.currency != self.currency:
            raise BadValue("currency", other.currency, "", self.currency)
        return other.minor


def digits_of(currency: str) -> int:
    """Return how many decimals a currency has (ISO 4217).

    Raises:
        BadValue: no currency in use has that code.
    """
    try:
        return CURRENCIES[currency]
    except KeyError as error:
        raise BadValue("currency", currency, "", "a code of ISO 4217 such as EUR") from error


def money(amount: Decimal, currency: str) -> Money:
    """Return an amount of whole units as money, exactly.

    Raises:
        BadValue: not a number, more decimals than the currency has, or more than a till could hold.
    """
    digits = digits_of(currency)
    allowed = f"a number with at most {digits} decimals"
    if not amount.is_finite():
        raise BadValue("amount", str(amount), currency, allowed)
    if abs(amount) > LARGEST:
        raise BadValue("amount", str(amount), currency, "an amount that a till could hold")
    try:
        minor = amount.scaleb(digits).quantize(Decimal(1))
    except InvalidOperation as error:
        raise BadValue("amount", str(amount), currency, allowed) from error
    if minor != amount.scaleb(digits):
        raise BadValue("amount", str(amount), currency, allowed)
    return Money(int(minor), currency)


def half_up(number: Decimal) -> int:
    """Return the nearest whole number; a tie goes away from zero."""
    return int(number.quantize(Decimal(1), rounding=ROUNDING))
