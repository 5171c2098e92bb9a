"""Charges, payments, receipts, credits and the ledger. Rows never change; a correction is a further row.

Amounts are whole minor units, which both engines add exactly; SQLite has no exact decimal.
"""

from django.db import models
from django.db.models import F, Q

from rentals.bookings.models import Outing, Party
from rentals.lib.access import Actor
from rentals.lib.money import Money
from rentals.people.models import User
from rentals.stations.models import Station
from rentals.takings.models.prices import Good


class Account(models.TextChoices):
    """The ledger's accounts."""

    PARTY = "party", "owed by parties"
    CASH = "cash", "cash drawer"
    TERMINAL = "terminal", "card terminal"
    BANK = "bank", "bank"
    SAFE = "safe", "cash taken out of the drawer"
    SALES = "sales", "sales without tax"
    TAX = "tax", "tax on sales"
    EXCESS = "excess", "damage excess held"
    CREDIT = "credit", "no-wind credits given"
    VOUCHER = "voucher", "vouchers sold"
    LAPSED = "lapsed", "credits and vouchers that lapsed"
    DIFFERENCE = "difference", "cash over or short"


class Method(models.TextChoices):
    """How money moves; recorded here, not processed."""

    CASH = "cash", "cash"
    TERMINAL = "terminal", "card terminal"
    TRANSFER = "transfer", "transfer"


INTO = {Method.CASH: Account.CASH, Method.TERMINAL: Account.TERMINAL, Method.TRANSFER: Account.BANK}
"""The account that each method fills."""


class Purpose(models.TextChoices):
    """What a charge is for. For time, lateness and being called off an outing has one that stands."""

    TIME = "time", "time on the water"
    LATE = "late", "late return"
    EXTENSION = "extension", "longer time"
    GOODS = "goods", "from the price list"
    NAMED = "named", "price named by staff"
    CANCEL = "cancel", "called off"


class ChargeQuerySet(models.QuerySet["Charge"]):
    """Reading charges."""

    def visible_to(self, actor: Actor) -> "ChargeQuerySet":
        """Charges at the actor's stations."""
        return self.filter(station_id__in=actor.station_ids)

    def standing(self) -> "ChargeQuerySet":
        """Charges that were not taken back, and take nothing back."""
        return self.filter(reverses=None, taken_back=None)


class Charge(models.Model):
    """What a party owes for one line, tax within; one that takes another back has its amounts negative."""

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    party = models.ForeignKey(Party, models.PROTECT, related_name="+")
    outing = models.ForeignKey(Outing, models.PROTECT, null=True, related_name="+")
    good = models.ForeignKey(Good, models.PROTECT, related_name="+")
    purpose = models.CharField(max_length=9, choices=Purpose.choices)
    text = models.CharField(max_length=120)
    count = models.PositiveSmallIntegerField()
    each_minor = models.IntegerField()
    gross_minor = models.BigIntegerField()
    tax_pct = models.DecimalField(max_digits=5, decimal_places=2)
    tax_minor = models.BigIntegerField()
    currency = models.CharField(max_length=3)
    reasons = models.JSONField(default=list)
    why = models.CharField(max_length=300, blank=True)
    day = models.DateField()
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    reverses = models.OneToOneField("self", models.PROTECT, null=True, related_name="taken_back")

    objects = ChargeQuerySet.as_manager()

    class Meta:
        indexes = (models.Index(fields=["party"], name="charge_by_party"),)
        constraints = (
            models.CheckConstraint(name="charge_purpose", condition=Q(purpose__in=Purpose.values)),
            models.CheckConstraint(name="charge_count", condition=Q(count__gt=0)),
            models.CheckConstraint(
                name="charge_adds_up", condition=Q(gross_minor=F("each_minor") * F("count"))
            ),
            models.CheckConstraint(
                name="charge_sign",
                condition=Q(reverses=None, gross_minor__gte=0)
                | Q(reverses__isnull=False, gross_minor__lte=0),
            ),
            models.CheckConstraint(
                name="charge_tax_within",
                condition=Q(gross_minor__gte=0, tax_minor__gte=0, tax_minor__lte=F("gross_minor"))
                | Q(gross_minor__lt=0, tax_minor__lte=0, tax_minor__gte=F("gross_minor")),
            ),
            models.CheckConstraint(
                name="charge_taken_back_says_why", condition=Q(reverses=None) | ~Q(why="")
            ),
        )

    def __str__(self) -> str:
        return f"{self.text} {self.gross}"

    @property
    def each(self) -> Money:
        """What one costs."""
        return Money(self.each_minor, self.currency)

    @property
    def gross(self) -> Money:
        """What all cost, tax within."""
        return Money(self.gross_minor, self.currency)

    @property
    def tax(self) -> Money:
        """The tax within."""
        return Money(self.tax_minor, self.currency)


class Payment(models.Model):
    """Money that came in, or went out where negative; on a party's account, or as damage excess."""

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    party = models.ForeignKey(Party, models.PROTECT, related_name="+")
    method = models.CharField(max_length=8, choices=Method.choices)
    excess = models.BooleanField(default=False)
    amount_minor = models.BigIntegerField()
    currency = models.CharField(max_length=3)
    note = models.CharField(max_length=300, blank=True)
    day = models.DateField()
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")

    class Meta:
        indexes = (models.Index(fields=["party"], name="payment_by_party"),)
        constraints = (
            models.CheckConstraint(name="payment_method", condition=Q(method__in=Method.values)),
            models.CheckConstraint(name="payment_moves_money", condition=~Q(amount_minor=0)),
            models.CheckConstraint(
                name="refund_says_why", condition=Q(amount_minor__gt=0) | ~Q(note="") | Q(excess=True)
            ),
        )

    def __str__(self) -> str:
        return f"{self.amount} by {self.method}"

    @property
    def amount(self) -> Money:
        """What came in; negative when it went out."""
        return Money(self.amount_minor, self.currency)


class Receipt(models.Model):
    """The numbered paper of a payment, frozen as it was given. Numbers of a station's year have no gap."""

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    year = models.PositiveSmallIntegerField()
    number = models.PositiveIntegerField()
    payment = models.OneToOneField(Payment, models.PROTECT, related_name="receipt")
    paper = models.JSONField()
    at = models.DateTimeField()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["station", "year", "number"], name="receipt_number_once"),
        )

    def __str__(self) -> str:
        return f"{self.year}-{self.number:05d}"


class ReceiptLine(models.Model):
    """A charge and the receipt it stands on; each stands on one."""

    receipt = models.ForeignKey(Receipt, models.PROTECT, related_name="+")
    charge = models.OneToOneField(Charge, models.PROTECT, related_name="on_receipt")

    def __str__(self) -> str:
        return f"{self.charge_id} on {self.receipt_id}"


class Voucher(models.Model):
    """A voucher that was sold, or a credit given for lack of wind: worth its amount until its last day."""

    class Kind(models.TextChoices):
        """Whether it was bought or given."""

        CREDIT = "credit", "no-wind credit"
        VOUCHER = "voucher", "voucher"

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    kind = models.CharField(max_length=7, choices=Kind.choices)
    code = models.CharField(max_length=12)
    party = models.ForeignKey(Party, models.PROTECT, related_name="+")
    amount_minor = models.BigIntegerField()
    currency = models.CharField(max_length=3)
    why = models.CharField(max_length=300, blank=True)
    last_day = models.DateField()
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")

    class Meta:
        indexes = (models.Index(fields=["station", "last_day"], name="voucher_by_last_day"),)
        constraints = (
            models.UniqueConstraint(fields=["station", "code"], name="voucher_code_once"),
            models.CheckConstraint(name="voucher_kind", condition=Q(kind__in=["credit", "voucher"])),
            models.CheckConstraint(name="voucher_is_worth_something", condition=Q(amount_minor__gt=0)),
            models.CheckConstraint(name="credit_says_why", condition=Q(kind="voucher") | ~Q(why="")),
        )

    def __str__(self) -> str:
        return self.code

    @property
    def amount(self) -> Money:
        """What it was worth when it was given."""
        return Money(self.amount_minor, self.currency)


class DayClose(models.Model):
    """The end of a day's takings: what was counted, what the ledger expected, what stays in the drawer."""

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    day = models.DateField()
    expected_minor = models.BigIntegerField()
    counted_minor = models.BigIntegerField()
    left_minor = models.BigIntegerField()
    currency = models.CharField(max_length=3)
    note = models.CharField(max_length=300, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["station", "day"], name="day_closed_once"),
            models.CheckConstraint(
                name="close_leaves_what_was_counted",
                condition=Q(counted_minor__gte=0, left_minor__gte=0, left_minor__lte=F("counted_minor")),
            ),
            models.CheckConstraint(
                name="close_difference_says_why",
                condition=Q(counted_minor=F("expected_minor")) | ~Q(note=""),
            ),
        )

    def __str__(self) -> str:
        return f"{self.station_id} {self.day}"

    @property
    def expected(self) -> Money:
        """What the drawer should have held."""
        return Money(self.expected_minor, self.currency)

    @property
    def counted(self) -> Money:
        """What it held."""
        return Money(self.counted_minor, self.currency)

    @property
    def left(self) -> Money:
        """What stays in it for the next day."""
        return Money(self.left_minor, self.currency)

    @property
    def difference(self) -> Money:
        """What was counted beyond what was expected; negative when some is missing."""
        return Money(self.counted_minor - self.expected_minor, self.currency)


class LedgerEntry(models.Model):
    """One amount from one account to another, so that each row balances by its form. Rows never change."""

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    day = models.DateField()
    at = models.DateTimeField()
    debit = models.CharField(max_length=10, choices=Account.choices)
    credit = models.CharField(max_length=10, choices=Account.choices)
    amount_minor = models.BigIntegerField()
    currency = models.CharField(max_length=3)
    text = models.CharField(max_length=160)
    party = models.ForeignKey(Party, models.PROTECT, null=True, related_name="+")
    charge = models.ForeignKey(Charge, models.PROTECT, null=True, related_name="+")
    payment = models.ForeignKey(Payment, models.PROTECT, null=True, related_name="+")
    voucher = models.ForeignKey(Voucher, models.PROTECT, null=True, related_name="+")
    by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")

    class Meta:
        verbose_name_plural = "ledger entries"
        indexes = (
            models.Index(fields=["station", "day"], name="entry_by_day"),
            models.Index(fields=["party"], name="entry_by_party"),
            models.Index(fields=["voucher"], name="entry_by_voucher"),
        )
        constraints = (
            models.CheckConstraint(
                name="entry_accounts",
                condition=Q(debit__in=Account.values, credit__in=Account.values),
            ),
            models.CheckConstraint(name="entry_between_two", condition=~Q(debit=F("credit"))),
            models.CheckConstraint(name="entry_amount", condition=Q(amount_minor__gt=0)),
            models.CheckConstraint(
                name="entry_names_its_party",
                condition=Q(party__isnull=False)
                | ~(Q(debit__in=["party", "excess"]) | Q(credit__in=["party", "excess"])),
            ),
            models.CheckConstraint(
                name="entry_names_its_voucher",
                condition=Q(voucher__isnull=False)
                | ~(Q(debit__in=["credit", "voucher"]) | Q(credit__in=["credit", "voucher"])),
            ),
        )

    def __str__(self) -> str:
        return f"{self.debit} to {self.credit}: {self.amount}"

    @property
    def amount(self) -> Money:
        """What moved."""
        return Money(self.amount_minor, self.currency)
