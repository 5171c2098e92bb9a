"""Prices and tax rates never change but by a further row; no two seasons of a station share a day.

The ledger only grows and balances by its form; receipts have no gap; closed days, vouchers and passes hold.
"""

from django.db import migrations

from rentals.lib.rules import append_only, refuse

MEETS = (
    "NEW.dropped_at IS NULL AND EXISTS (SELECT 1 FROM takings_season AS other "
    "WHERE other.station_id = NEW.station_id AND other.id <> NEW.id AND other.dropped_at IS NULL "
    "AND other.first_day <= NEW.last_day AND other.last_day >= NEW.first_day)"
)
LIABILITIES = "('credit', 'voucher')"


class Migration(migrations.Migration):
    dependencies = [("takings", "0001_initial")]

    operations = [
        *append_only("takings_taxrate"),
        *append_only("takings_price"),
        refuse(
            "season_days_once",
            table="takings_season",
            events="INSERT OR UPDATE",
            when=MEETS,
            says="two seasons of a station never share a day",
        ),
        *append_only("takings_charge"),
        *append_only("takings_payment"),
        *append_only("takings_receipt"),
        *append_only("takings_receiptline"),
        *append_only("takings_voucher"),
        *append_only("takings_dayclose"),
        *append_only("takings_ledgerentry"),
        *append_only("takings_pass"),
        *append_only("takings_passuse"),
        refuse(
            "charge_taken_back_whole",
            table="takings_charge",
            events="INSERT",
            when=(
                "NEW.reverses_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM takings_charge AS c "
                "WHERE c.id = NEW.reverses_id AND c.reverses_id IS NULL AND c.party_id = NEW.party_id "
                "AND c.gross_minor = -NEW.gross_minor AND c.tax_minor = -NEW.tax_minor "
                "AND c.currency = NEW.currency)"
            ),
            says="a charge is taken back whole, once",
        ),
        refuse(
            "outing_charged_once",
            table="takings_charge",
            events="INSERT",
            when=(
                "NEW.reverses_id IS NULL AND NEW.outing_id IS NOT NULL AND NEW.purpose IN ('time', 'late') "
                "AND EXISTS (SELECT 1 FROM takings_charge AS c WHERE c.outing_id = NEW.outing_id "
                "AND c.purpose = NEW.purpose AND c.reverses_id IS NULL AND NOT EXISTS "
                "(SELECT 1 FROM takings_charge AS r WHERE r.reverses_id = c.id))"
            ),
            says="the time of an outing and its late fee are charged once",
        ),
        refuse(
            "entry_in_the_currency_of_the_station",
            table="takings_ledgerentry",
            events="INSERT",
            when=(
                "NOT EXISTS (SELECT 1 FROM takings_terms AS t "
                "WHERE t.station_id = NEW.station_id AND t.currency = NEW.currency)"
            ),
            says="a station has one currency",
        ),
        refuse(
            "currency_stays",
            table="takings_terms",
            events="UPDATE",
            when=(
                "NEW.currency <> OLD.currency AND EXISTS "
                "(SELECT 1 FROM takings_ledgerentry AS e WHERE e.station_id = OLD.station_id)"
            ),
            says="the currency stays once money was taken",
        ),
        refuse(
            "entry_of_the_party_of_the_station",
            table="takings_ledgerentry",
            events="INSERT",
            when=(
                "NEW.party_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM bookings_party AS p "
                "WHERE p.id = NEW.party_id AND p.station_id = NEW.station_id)"
            ),
            says="the party is of another station",
        ),
        refuse(
            "closed_day_stays",
            table="takings_ledgerentry",
            events="INSERT",
            when=(
                "EXISTS (SELECT 1 FROM takings_dayclose AS d "
                "WHERE d.station_id = NEW.station_id AND d.day >= NEW.day)"
            ),
            says="the takings of that day are closed",
        ),
        refuse(
            "days_close_in_order",
            table="takings_dayclose",
            events="INSERT",
            when=(
                "EXISTS (SELECT 1 FROM takings_dayclose AS d "
                "WHERE d.station_id = NEW.station_id AND d.day > NEW.day)"
            ),
            says="a later day is closed already",
        ),
        refuse(
            "receipt_numbers_have_no_gap",
            table="takings_receipt",
            events="INSERT",
            when=(
                "NEW.number <> 1 + (SELECT COALESCE(MAX(r.number), 0) FROM takings_receipt AS r "
                "WHERE r.station_id = NEW.station_id AND r.year = NEW.year)"
            ),
            says="receipts are numbered one after the other",
        ),
        refuse(
            "voucher_not_overdrawn",
            table="takings_ledgerentry",
            events="INSERT",
            when=(
                f"NEW.debit IN {LIABILITIES} AND NEW.amount_minor > (SELECT COALESCE(SUM(CASE "
                f"WHEN e.credit IN {LIABILITIES} THEN e.amount_minor ELSE -e.amount_minor END), 0) "
                "FROM takings_ledgerentry AS e WHERE e.voucher_id = NEW.voucher_id)"
            ),
            says="a credit or voucher is worth what is left of it",
        ),
        refuse(
            "voucher_until_its_last_day",
            table="takings_ledgerentry",
            events="INSERT",
            when=(
                f"NEW.debit IN {LIABILITIES} AND NEW.credit = 'party' AND EXISTS (SELECT 1 "
                "FROM takings_voucher AS v WHERE v.id = NEW.voucher_id AND v.last_day < NEW.day)"
            ),
            says="a credit or voucher pays until its last day",
        ),
        refuse(
            "pass_not_overdrawn",
            table="takings_passuse",
            events="INSERT",
            when=(
                "EXISTS (SELECT 1 FROM takings_pass AS p WHERE p.id = NEW.held_id AND p.minutes IS NOT NULL "
                "AND p.minutes < NEW.minutes + (SELECT COALESCE(SUM(u.minutes), 0) "
                "FROM takings_passuse AS u WHERE u.held_id = NEW.held_id))"
            ),
            says="a pass holds no more than its hours",
        ),
        refuse(
            "pass_use_given_back_whole",
            table="takings_passuse",
            events="INSERT",
            when=(
                "NEW.gives_back_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM takings_passuse AS u "
                "WHERE u.id = NEW.gives_back_id AND u.held_id = NEW.held_id AND u.outing_id = NEW.outing_id "
                "AND u.minutes = -NEW.minutes)"
            ),
            says="minutes are given back whole, to their pass",
        ),
    ]
