"""What a receipt says, frozen as it was given: amounts as text, the party's name left on the party."""

from collections.abc import Sequence
from typing import Any, Final

from rentals.lib.money import Money
from rentals.takings.mapping.quotes import tax_lines
from rentals.takings.models import Charge, Method, Payment, Terms

EXCESS_NOTE: Final = "Damage excess: held, and paid back when the kit is back whole."


def paper(terms: Terms, payment: Payment, charges: Sequence[Charge], balance: Money) -> dict[str, Any]:
    """Return what the receipt of a payment says.

    Args:
        terms: of the seller.
        payment: which.
        charges: those that stand on it.
        balance: what is owed, or held, after it.
    """
    taxes = tax_lines(terms.currency, [(each.tax_pct, each.gross, each.tax) for each in charges])
    total = sum((each.gross for each in charges), Money(0, terms.currency))
    return {
        "seller": {
            "name": terms.seller_name,
            "address": terms.seller_address,
            "tax_number": terms.tax_number,
        },
        "currency": terms.currency,
        "lines": [
            {
                "text": each.text,
                "count": each.count,
                "each": str(each.each.amount),
                "gross": str(each.gross.amount),
            }
            for each in charges
        ],
        "taxes": [
            {"pct": str(pct), "net": str(net.amount), "tax": str(tax.amount)} for pct, net, tax in taxes
        ],
        "total": str(total.amount),
        "method": Method(payment.method).label,
        "paid": str(payment.amount.amount),
        "balance": str(balance.amount),
        "note": EXCESS_NOTE if payment.excess else payment.note,
    }
