"""Pages of money: the day's takings, a party's account, receipts and the price list."""

from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render

from rentals.bookings import queries as bookings
from rentals.bookings.models import Outing
from rentals.bookings.services import UnableToBook
from rentals.errands import queries as errand_queries
from rentals.errands import services as errands
from rentals.errands.models import ErrandKind
from rentals.lib import clock
from rentals.lib.access import Act
from rentals.lib.forms import OnceForm
from rentals.lib.live import found
from rentals.lib.problems import Conflict
from rentals.lib.tables import csv_answer
from rentals.people.doors import StaffRequest, asked_day, may, station_page
from rentals.stations.models import Station
from rentals.takings import forms, queries, services
from rentals.takings.models import Good, Season, Tax, Terms, Unit

Forms = Mapping[str, OnceForm]


@dataclass(frozen=True, slots=True)
class Deed:
    """Something done on an account: its form, its service, the act it needs, and what is said after."""

    form: Callable[[queries.PartyAccount, Any], OnceForm]
    do: Callable[..., Any]
    act: Act
    said: str


def _paid(values: dict[str, Any]) -> dict[str, Any]:
    """Return payment values as the services take them."""
    names = ("amount", "method", "note")
    return {"paid": services.Paid(**{name: values.pop(name) for name in names if name in values}), **values}


def _named(values: dict[str, Any]) -> dict[str, Any]:
    names = ("text", "amount", "good", "why")
    return {"named": services.Named(**{name: values.pop(name) for name in names}), **values}


def _wanted(values: dict[str, Any], day: date) -> dict[str, Any]:
    wanted = queries.Wanted(
        good=values.pop("good"), unit=values.pop("unit"), count=int(values.pop("count")), day=day
    )
    return {"wanted": [wanted], **values}


def _choices(account: queries.PartyAccount) -> list[tuple[str, str]]:
    return [(good.code, good.name) for good in account.goods]


def _plain(kind: type[OnceForm], **fixed: Any) -> Callable[[queries.PartyAccount, Any], OnceForm]:
    return lambda _account, data: kind(data, **fixed)


def _goods(kind: Callable[..., OnceForm]) -> Callable[[queries.PartyAccount, Any], OnceForm]:
    return lambda account, data: kind(data, goods=_choices(account))


def _goods_form(account: queries.PartyAccount, data: Any) -> OnceForm:
    others = (each for each in account.listed if not (each.ahead or each.stored))
    listed = [each.choice for each in others if each.unit != Unit.CARD]
    return forms.GoodsForm(data, listed=listed)


def _pass_form(account: queries.PartyAccount, data: Any) -> OnceForm:
    """Return the form for a pass of one of the party's riders."""
    listed = [each.choice for each in account.listed if each.ahead]
    return forms.PassForm(data, listed=listed, riders=account.riders, initial={"first_day": account.today})


def _store_form(account: queries.PartyAccount, data: Any) -> OnceForm:
    listed = [each.choice for each in account.listed if each.stored]
    return forms.StoreForm(data, listed=listed, initial={"first_day": account.today, "count": 1})


DEEDS: Mapping[str, Deed] = {
    "charge": Deed(_plain(OnceForm), services.charge_due, Act.CHARGE, "Charged."),
    "goods": Deed(_goods_form, services.charge_goods, Act.CHARGE, "Charged."),
    "named": Deed(_goods(forms.NamedForm), services.charge_named, Act.CHARGE, "Charged."),
    "store": Deed(_store_form, services.store_kit, Act.CHARGE, "Stored; it is charged, not paid yet."),
    "pass": Deed(_pass_form, services.sell_pass, Act.CHARGE, "Sold; it is charged, not paid yet."),
    "pay": Deed(_plain(forms.MoneyForm), services.take_payment, Act.TAKE_PAYMENT, "Paid."),
    "redeem": Deed(_plain(forms.CodeForm), services.redeem, Act.TAKE_PAYMENT, "Paid with it."),
    "hold": Deed(_plain(forms.ExcessForm), services.hold_excess, Act.TAKE_PAYMENT, "Damage excess held."),
    "give-back": Deed(
        _plain(forms.ExcessForm), services.return_excess, Act.TAKE_PAYMENT, "Damage excess paid back."
    ),
    "keep": Deed(_plain(forms.AmountForm), services.keep_excess, Act.TAKE_PAYMENT, "Kept for what is owed."),
    "voucher": Deed(_plain(forms.MoneyForm), services.sell_voucher, Act.TAKE_PAYMENT, "Voucher sold."),
    "credit": Deed(_plain(forms.CreditForm), services.give_credit, Act.GIVE_CREDIT, "Credit given."),
    "no-wind": Deed(_plain(forms.NoWindForm), services.credit_outing, Act.GIVE_CREDIT, "Taken back."),
    "take-back": Deed(_plain(forms.TakeBackForm), services.take_back_charge, Act.REFUND, "Taken back."),
    "refund": Deed(_plain(forms.MoneyForm), services.refund, Act.REFUND, "Paid back."),
}
_PAYS = ("pay", "hold", "give-back", "voucher", "refund")
_OF_A_ROW = ("no-wind", "take-back")
"""Deeds on a charge or an outing of the account."""


@station_page("GET")
def account(request: StaffRequest, party_id: int) -> HttpResponse:
    """Show a party's account and what can be done on it."""
    return _account_page(request, party_id, {})


@station_page("POST")
def act(request: StaffRequest, party_id: int, deed: str) -> HttpResponse:
    """Do something on a party's account."""
    if deed not in DEEDS:
        raise Http404
    party = queries.party_for(request.actor, request.station, party_id)
    known = DEEDS[deed]
    form = known.form(queries.party_account(party, request.station, now=clock.now()), request.POST)
    if not form.is_valid() or not _done(request, party.pk, deed, form):
        return _account_page(request, party_id, {deed: form})
    messages.success(request, known.said)
    return redirect("account", request.station.slug, party_id)


@station_page("GET", "POST")
def cancel(request: StaffRequest, outing_id: int) -> HttpResponse:
    """Say what calling an outing off costs; then call it off, or note that the rider never came."""
    outing = bookings.outing_for(request.actor, request.station, outing_id)
    request.actor.require(Act.CANCEL, station_id=request.station.pk)
    form = forms.CancelForm(request.POST or None)
    if request.method == "POST" and form.is_valid() and _called_off(request, outing.pk, form):
        return redirect("today", request.station.slug)
    context = {
        "station": request.station,
        "page": "today",
        "outing": outing,
        "form": form,
        "quotes": _cancel_quotes(outing),
        "may_waive": may(request, Act.WAIVE_FEE),
    }
    return render(request, "takings/cancel.html", context, status=422 if form.errors else 200)


def _cancel_quotes(outing: Outing) -> dict[str, queries.CancelQuote]:
    """Return what calling off costs and what not coming does; nothing where there are no prices."""
    now = clock.now()
    with suppress(queries.UnableToQuote):
        return {
            name: queries.cancel_quotes([outing], missed=name == "missed", now=now)[0]
            for name in ("cancelled", "missed")
        }
    return {}


def _called_off(request: StaffRequest, outing_id: int, form: forms.CancelForm) -> bool:
    try:
        outing = services.cancel_outing(
            actor=request.actor,
            outing_id=outing_id,
            missed="missed" in request.POST,
            reason=form.cleaned_data["reason"],
            waive=form.cleaned_data["waive"],
            now=clock.now(),
        )
    except (UnableToBook, Conflict) as refused:
        form.refuse(refused)
        return False
    messages.success(request, f"{outing.rider}: {outing.get_state_display().replace('_', ' ')}.")
    return True


@station_page("GET")
def receipt(request: StaffRequest, year: int, number: int) -> HttpResponse:
    """Show a receipt for print."""
    found = queries.receipt_for(request.actor, request.station, year, number)
    context = {"station": request.station, "page": "takings", "receipt": found, "paper": found.paper}
    return render(request, "takings/receipt.html", context)


@station_page("GET", "POST")
def takings(request: StaffRequest) -> HttpResponse:
    """Show a day's takings; close it."""
    today = request.station.local(clock.now()).date()
    day, which = asked_day(request, today), request.POST.get("which", "")
    closing = forms.CloseForm(request.POST if which == "close" else None)
    change = forms.AmountForm(request.POST if which == "change" else None, prefix="change")
    done = (closing.is_bound and closing.is_valid() and _close(request, day, closing)) or (
        change.is_bound and change.is_valid() and _put_cash(request, change)
    )
    if done:
        return redirect("takings", request.station.slug)
    wrong = bool(closing.errors or change.errors)
    context = {
        "station": request.station,
        "page": "takings",
        "takings": queries.day_takings(request.station, day),
        "today": today,
        "day_before": day - timedelta(days=1),
        "day_after": day + timedelta(days=1),
        "form": change if which == "change" else closing,
        "closing": closing,
        "change": change,
        "may_close": may(request, Act.CLOSE_DAY) and day <= today,
        "may_price": may(request, Act.SET_PRICES),
    }
    return render(request, "takings/takings.html", context, status=422 if wrong else 200)


@station_page("GET")
def credit_list(request: StaffRequest) -> HttpResponse:
    """List credits and vouchers with what is left on each; find one by its code or party."""
    words, everything = request.GET.get("q", ""), "all" in request.GET
    today = request.station.local(clock.now()).date()
    context = {
        "station": request.station,
        "page": "takings",
        "words": words,
        "everything": everything,
        "vouchers": queries.vouchers_at(request.station, on=today, words=words, everything=everything),
    }
    return found(request, "takings/credits.html", "takings/parts/credits_found.html", context)


@station_page("GET")
def credit(request: StaffRequest, code: str) -> HttpResponse:
    """Show a credit or voucher for print, and what was paid with it."""
    today = request.station.local(clock.now()).date()
    story = queries.voucher_for(request.actor, request.station, code, on=today)
    terms = queries.terms_of(request.station)
    context = {"station": request.station, "page": "takings", "story": story, "terms": terms}
    return render(request, "takings/credit.html", context)


@station_page("GET", "POST")
def storage(request: StaffRequest) -> HttpResponse:
    """Show riders' own kit in the racks; note that some was fetched."""
    asked = request.POST.get("stored", "")
    if request.method == "POST":
        stored_id = int(asked) if asked.isdecimal() else 0
        fetched = services.fetch_kit(actor=request.actor, stored_id=stored_id, now=clock.now())
        messages.success(request, f"Fetched: {fetched}.")
        return redirect("storage", request.station.slug)
    today = request.station.local(clock.now()).date()
    context = {
        "station": request.station,
        "page": "takings",
        "stored": queries.stored_at(request.station, today),
    }
    return render(request, "takings/storage.html", context)


@station_page("GET", "POST")
def entries_csv(request: StaffRequest) -> HttpResponse:
    """Give the ledger of some days as CSV: this year's when none are asked for.

    A worker writes it when it is asked for by POST; what a worker wrote is handed out by its errand's number.
    """
    today = request.station.local(clock.now()).date()
    first, last = _day(request, "from", date(today.year, 1, 1)), _day(request, "until", today)
    first = max(first, last - timedelta(days=queries.LONGEST_EXPORT_DAYS))
    if request.method == "POST":
        errand = errands.ask_for(
            actor=request.actor,
            station_id=request.station.pk,
            kind=ErrandKind.GIVE_ENTRIES,
            asked={"first": str(first), "last": str(last)},
            now=clock.now(),
        )
        return redirect("errand", request.station.slug, errand.pk)
    written = request.GET.get("errand", "")
    body = (
        errand_queries.file_of(request.actor, request.station, written)
        if written
        else queries.entries_as_csv(request.station, first, last)
    )
    return csv_answer(body, f"takings-{request.station.slug}-{first}-{last}")


@station_page("GET", "POST")
def prices(request: StaffRequest) -> HttpResponse:
    """Show the price list; a manager changes it."""
    station, which = request.station, request.POST.get("which", "")
    editing = may(request, Act.SET_PRICES)
    known = _price_forms(request) if editing or which else {}
    if which in known and known[which].is_valid() and _set(request, which, known[which]):
        return redirect("prices", station.slug)
    now = clock.now()
    day = asked_day(request, station.local(now).date())
    context = {
        "station": station,
        "page": "takings",
        "rows": _listed(station, day, now),
        "day": day,
        "forms": known if editing else {},
        "wrong": which in known and bool(known[which].errors),
        "which": which,
        "rows_set": queries.prices_set(station) if editing else (),
        "rule": next(iter(queries.rules_of(station)), None),
    }
    return render(request, "takings/prices.html", context, status=422 if context["wrong"] else 200)


def _listed(station: Station, day: date, now: datetime) -> tuple[queries.ListRow, ...]:
    """Return the price list; nothing where a manager has not begun it."""
    try:
        return queries.price_list(station, day, as_of=now)
    except queries.UnableToQuote:
        return ()


def _account_page(request: StaffRequest, party_id: int, bound: Forms) -> HttpResponse:
    party = queries.party_for(request.actor, request.station, party_id)
    seen = queries.party_account(party, request.station, now=clock.now())
    shown = {
        name: bound.get(name) or deed.form(seen, None)
        for name, deed in DEEDS.items()
        if may(request, deed.act)
    }
    wrong = next(iter(bound.values()), None)
    context = {
        "station": request.station,
        "page": "takings",
        "account": seen,
        "deeds": {name.replace("-", "_"): form for name, form in shown.items()},
        "form": wrong,
        "wrong": next(iter(bound), ""),
    }
    return render(request, "takings/account.html", context, status=422 if bound else 200)


def _done(request: StaffRequest, party_id: int, deed: str, form: OnceForm) -> bool:
    """Do it; what is refused is said beside its field."""
    now = clock.now()
    values = {"party_id": party_id, **form.cleaned_data}
    if isinstance(form, forms.ListedForm):
        del values["what"]
        values["good"], values["unit"] = form.wanted()
    if deed in _PAYS:
        values = _paid(values)
    elif deed == "named":
        values = _named(values)
    elif deed == "store":
        values["count"], values["what"] = int(values["count"]), values.pop("kit")
    elif deed == "goods":
        values = _wanted(values, request.station.local(now).date())
    elif deed in _OF_A_ROW:
        del values["party_id"]
    try:
        DEEDS[deed].do(actor=request.actor, now=now, **values)
    except (services.UnableToTake, queries.UnableToQuote, Conflict) as refused:
        form.refuse(refused)
        return False
    return True


def _put_cash(request: StaffRequest, form: forms.AmountForm) -> bool:
    values = {name: form.cleaned_data[name] for name in ("amount", "once")}
    try:
        put = services.put_cash(actor=request.actor, station_id=request.station.pk, now=clock.now(), **values)
    except (services.UnableToTake, Conflict) as refused:
        form.refuse(refused)
        return False
    messages.success(request, f"{put} is in the drawer.")
    return True


def _close(request: StaffRequest, day: date, form: forms.CloseForm) -> bool:
    values = {name: form.cleaned_data[name] for name in ("cash", "left", "note")}
    once = form.cleaned_data["once"]
    try:
        services.close_day(
            actor=request.actor,
            station_id=request.station.pk,
            day=day,
            counted=services.Counted(**values),
            once=once,
            now=clock.now(),
        )
    except (services.UnableToTake, Conflict) as refused:
        form.refuse(refused)
        return False
    messages.success(request, "The day is closed.")
    return True


def _price_forms(request: StaffRequest) -> dict[str, OnceForm]:
    """Return the forms of the price list, the one that was sent bound: four queries."""
    station, which = request.station, request.POST.get("which", "")
    goods = [
        (good.code, good.name) for good in Good.objects.filter(station=station, sold=True).order_by("name")
    ]
    taxes = [(tax.name, tax.name) for tax in Tax.objects.filter(station=station).order_by("name")]
    live = Season.objects.filter(station=station, dropped_at=None).order_by("first_day")
    seasons = [
        (str(each.pk), f"{each.name}, {each.first_day:%-d %b}–{each.last_day:%-d %b %Y}") for each in live
    ]
    terms = Terms.objects.filter(station=station).first()
    today = request.station.local(clock.now()).date()

    def sent(name: str) -> Any:
        return request.POST if which == name else None

    return {
        "price": forms.PriceForm(sent("price"), goods=goods, seasons=seasons, initial={"valid_from": today}),
        "good": forms.GoodForm(sent("good"), taxes=taxes),
        "season": forms.SeasonForm(sent("season")),
        "drop": forms.SeasonDropForm(sent("drop"), seasons=seasons),
        "tax": forms.TaxForm(sent("tax")),
        "cancel": forms.CancelRuleForm(sent("cancel"), initial=forms.initial_rule(queries.rules_of(station))),
        "terms": forms.TermsForm(sent("terms"), initial=forms.initial_terms(terms)),
    }


def _set(request: StaffRequest, which: str, form: OnceForm) -> bool:
    """Set what was asked for; what is refused is said beside its field."""
    values = dict(form.cleaned_data)
    values |= {"actor": request.actor, "station_id": request.station.pk, "now": clock.now()}
    try:
        SETTINGS[which](form, values)
    except (services.UnableToPrice, Conflict) as refused:
        form.refuse(refused)
        return False
    messages.success(request, "The price list is changed.")
    return True


def _set_price(_form: OnceForm, values: dict[str, Any]) -> None:
    for name in ("card_hours", "season_id"):
        values[name] = int(values[name]) if values[name] else None
    services.set_price(**values)


def _set_good(_form: OnceForm, values: dict[str, Any]) -> None:
    who = {name: values.pop(name) for name in ("actor", "station_id", "now")}
    del values["once"]
    services.keep_good(facts=services.GoodFacts(**values), **who)


def _set_terms(form: OnceForm, values: dict[str, Any]) -> None:
    who = {name: values[name] for name in ("actor", "station_id", "now")}
    if isinstance(form, forms.TermsForm):
        services.keep_terms(facts=form.facts(), **who)


def _set_rule(_form: OnceForm, values: dict[str, Any]) -> None:
    whole = {name: int(values[name]) for name in ("free_hours", "share_pct", "missed_pct")}
    services.set_cancel_rule(**{**values, **whole})


def _drop_season(_form: OnceForm, values: dict[str, Any]) -> None:
    del values["once"]
    services.drop_season(**{**values, "season_id": int(values["season_id"])})


SETTINGS: Mapping[str, Callable[[OnceForm, dict[str, Any]], Any]] = {
    "price": _set_price,
    "good": _set_good,
    "season": lambda _form, values: services.keep_season(**values),
    "drop": _drop_season,
    "tax": lambda _form, values: services.set_tax_rate(**values),
    "cancel": _set_rule,
    "terms": _set_terms,
}
"""What each form of the price list's page sets."""


def _day(request: StaffRequest, name: str, otherwise: date) -> date:
    try:
        return date.fromisoformat(request.GET.get(name, ""))
    except ValueError:
        return otherwise
