"""What is typed at the till: payments, charges, credits, the close, and prices."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from django import forms

from rentals.lib.forms import NumberField, OnceForm, PlainForm
from rentals.lib.problems import Refused
from rentals.takings.models import MOST_FREE_HOURS, CancelRule, Good, Method, Terms, Unit
from rentals.takings.services import TermsFacts

MOST = 1_000_000


class AmountField(NumberField):
    """An amount in whole units of the station's currency."""

    def __init__(self, *, low: float = 0, **kwargs: Any) -> None:
        super().__init__(unit="the station's currency", low=low, high=MOST, **kwargs)


class MoneyForm(OnceForm):
    """Money that changes hands."""

    amount = AmountField(label="Amount", decimal_places=3)
    method = forms.ChoiceField(label="How", choices=Method.choices)
    note = forms.CharField(
        label="Note", max_length=300, required=False, help_text="slip number; needed when paying back"
    )


class NamedForm(OnceForm):
    """A charge at a price named by staff."""

    text = forms.CharField(label="What for?", max_length=120)
    amount = AmountField(label="Amount", decimal_places=3)
    good = forms.ChoiceField(label="Taxed as")
    why = forms.CharField(label="Why does it cost that?", max_length=300)

    def __init__(self, *args: Any, goods: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["good"].choices = goods  # type: ignore[attr-defined]  # a choice field


class WhyForm(OnceForm):
    """A reason."""

    why = forms.CharField(label="Why?", max_length=300)


class ListedForm(OnceForm):
    """Something of the price list, by good and unit."""

    what = forms.ChoiceField(label="What")

    def __init__(self, *args: Any, listed: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["what"].choices = listed  # type: ignore[attr-defined]  # a choice field

    def refuse(self, refused: Refused, *, names: Mapping[str, str] | None = None) -> None:
        """Put what is said of a good or its unit beside the one choice of both."""
        super().refuse(refused, names={"good": "what", "unit": "what", **(names or {})})

    def wanted(self) -> tuple[str, str]:
        """Return the good's code and the unit."""
        code, _, unit = self.cleaned_data["what"].rpartition(":")
        return code, unit


class PassForm(ListedForm):
    """A season card, a week or a season for one rider."""

    rider_id = forms.ChoiceField(label="Rider")
    first_day = forms.DateField(
        label="First day", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )

    def __init__(self, *args: Any, riders: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["rider_id"].choices = riders  # type: ignore[attr-defined]


class ExcessForm(OnceForm):
    """Damage excess, held or paid back."""

    amount = AmountField(label="Amount", decimal_places=3)
    method = forms.ChoiceField(label="How", choices=Method.choices)


class AmountForm(OnceForm):
    """An amount alone."""

    amount = AmountField(label="Amount", decimal_places=3)


class CreditForm(AmountForm):
    """A credit in place of money back."""

    why = forms.CharField(label="Why?", max_length=300)


class TakeBackForm(WhyForm):
    """A charge to be taken back."""

    charge_id = forms.IntegerField(widget=forms.HiddenInput)


class NoWindForm(WhyForm):
    """An outing that the wind spoilt."""

    outing_id = forms.IntegerField(widget=forms.HiddenInput)


class StoreForm(ListedForm):
    """A rack for own kit."""

    count = NumberField(label="How many", unit="units", low=1, high=100, decimal_places=0, initial=1)
    first_day = forms.DateField(
        label="First day", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    kit = forms.CharField(label="Which kit", max_length=60, help_text="such as board and sail, rack 4")

    def refuse(self, refused: Refused, *, names: Mapping[str, str] | None = None) -> None:
        """Put what is said of the kit beside its field; `what` is the choice of the list here."""
        super().refuse(refused, names={"what": "kit", **(names or {})})


class GoodsForm(ListedForm):
    """Units of a good of the list."""

    count = NumberField(label="How many", unit="pieces", low=1, high=500, decimal_places=0, initial=1)


class CodeForm(OnceForm):
    """A credit or voucher to pay with."""

    code = forms.CharField(label="Code", max_length=12, widget=forms.TextInput(attrs={"class": "short"}))


class CloseForm(OnceForm):
    """What lay in the drawer."""

    cash = AmountField(label="Cash counted", decimal_places=3)
    left = AmountField(label="Left in the drawer for tomorrow", decimal_places=3)
    note = forms.CharField(
        label="Note",
        max_length=300,
        required=False,
        help_text="needed when the count is not what is expected",
    )


class SeasonDropForm(OnceForm):
    """A season to be dropped."""

    season_id = forms.ChoiceField(label="Season")

    def __init__(self, *args: Any, seasons: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["season_id"].choices = seasons  # type: ignore[attr-defined]


class PriceForm(OnceForm):
    """What a unit costs from a day on."""

    good = forms.ChoiceField(label="What")
    unit = forms.ChoiceField(label="By the", choices=Unit.choices)
    season_id = forms.ChoiceField(label="Season", required=False)
    amount = AmountField(
        label="Price, tax within", decimal_places=3, required=False, help_text="empty takes it off the list"
    )
    card_hours = NumberField(
        label="Hours on a season card", unit="hours", low=1, high=1000, decimal_places=0, required=False
    )
    valid_from = forms.DateField(
        label="From", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )

    def __init__(
        self, *args: Any, goods: list[tuple[str, str]], seasons: list[tuple[str, str]], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["good"].choices = goods  # type: ignore[attr-defined]
        self.fields["season_id"].choices = [("", "all year"), *seasons]  # type: ignore[attr-defined]


class GoodForm(OnceForm):
    """A good of the list."""

    code = forms.CharField(label="Code", max_length=30, help_text="such as full-kit")
    name = forms.CharField(label="Name", max_length=60)
    kind = forms.ChoiceField(label="Kind", choices=Good.Kind.choices)
    tax = forms.ChoiceField(label="Tax")
    included = forms.CharField(label="What is included", max_length=300, required=False)
    usual = forms.BooleanField(label="The usual one of its kind", required=False)

    def __init__(self, *args: Any, taxes: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["tax"].choices = taxes  # type: ignore[attr-defined]


class SeasonForm(OnceForm):
    """A season with prices of its own."""

    name = forms.CharField(label="Name", max_length=40)
    first_day = forms.DateField(label="First day", widget=forms.DateInput(attrs={"type": "date"}))
    last_day = forms.DateField(label="Last day", widget=forms.DateInput(attrs={"type": "date"}))


class TaxForm(OnceForm):
    """The rate of a band of tax."""

    name = forms.CharField(label="Tax", max_length=40, help_text="such as standard")
    pct = NumberField(label="Rate", unit="percent", low=0, high=99.99, decimal_places=2)
    since = forms.DateField(label="From", widget=forms.DateInput(attrs={"type": "date"}))


class CancelForm(PlainForm):
    """Why an outing is called off."""

    reason = forms.CharField(label="Why?", max_length=300, required=False)
    waive = forms.CharField(
        label="Waive the fee because",
        max_length=200,
        required=False,
        help_text="leave empty to take the fee; a manager's word",
    )


class CancelRuleForm(OnceForm):
    """What calling off costs."""

    free_hours = NumberField(
        label="Free until", unit="hours before the start", low=0, high=MOST_FREE_HOURS, decimal_places=0
    )
    share_pct = NumberField(
        label="After that", unit="percent of the price", low=0, high=100, decimal_places=0
    )
    missed_pct = NumberField(
        label="Did not come", unit="percent of the price", low=0, high=100, decimal_places=0
    )


class TermsForm(OnceForm):
    """How the station handles money."""

    currency = forms.CharField(label="Currency", max_length=3, help_text="by ISO 4217, such as EUR")
    seller_name = forms.CharField(label="Name on receipts", max_length=120)
    seller_address = forms.CharField(label="Address on receipts", max_length=300, required=False)
    tax_number = forms.CharField(label="Tax number", max_length=40, required=False)
    half_day_min = NumberField(
        label="A half-day is up to", unit="minutes", low=60, high=720, decimal_places=0
    )
    hour_step_min = NumberField(label="Hours count by", unit="minutes", low=5, high=60, decimal_places=0)
    late_grace_min = NumberField(
        label="Late without a fee", unit="minutes", low=0, high=120, decimal_places=0
    )
    late_step_min = NumberField(label="Late fee for each", unit="minutes", low=5, high=240, decimal_places=0)
    late_step = AmountField(label="Late fee of a step", decimal_places=3)
    late_most = AmountField(label="Late fee at most", decimal_places=3)
    deposit_pct = NumberField(label="Deposit on booking", unit="percent", low=0, high=100, decimal_places=0)
    excess = AmountField(label="Damage excess", decimal_places=3)
    credit_days = NumberField(label="Credits are good for", unit="days", low=1, high=3650, decimal_places=0)

    def facts(self) -> TermsFacts:
        """Return the terms."""
        whole: dict[str, Any] = {
            name: int(value) if name.endswith(("_min", "_pct", "_days")) else value
            for name, value in self.cleaned_data.items()
            if name != "once"
        }
        return TermsFacts(**whole)


def initial_rule(rules: Sequence[CancelRule]) -> dict[str, Any]:
    """Return what the form of the rule for calling off starts with: the one in force, or none taken."""
    names = ("free_hours", "share_pct", "missed_pct")
    return {name: getattr(rules[0], name) for name in names} if rules else dict.fromkeys(names, 0)


def initial_terms(terms: Terms | None) -> dict[str, Any]:
    """Return what the form of the terms starts with: those in force, or the usual ones."""
    if terms is None:
        return asdict(TermsFacts(currency="EUR", seller_name=""))
    kept = {name: getattr(terms, name) for name in TermsForm.base_fields if hasattr(terms, name)}
    amounts = ("late_step", "late_most", "excess")
    return {**kept, **{name: getattr(terms, name).amount for name in amounts}}
