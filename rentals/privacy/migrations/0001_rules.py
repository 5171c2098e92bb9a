"""Rules that the database itself keeps: what is written stays, but for the names of a person being erased."""

from django.db import migrations

from rentals.lib.rules import erasable


class Migration(migrations.Migration):
    initial = True
    dependencies = [
        ("afloat", "0002_rules"),
        ("audit", "0002_rules"),
        ("bench", "0002_rules"),
        ("checklists", "0002_rules"),
        ("incidents", "0002_rules"),
        ("lessons", "0002_rules"),
        ("rigs", "0002_rules"),
        ("takings", "0002_rules"),
    ]

    operations = [
        erasable("audit_entry"),
        erasable("afloat_acknowledgement"),
        erasable("afloat_beachlog"),
        erasable("afloat_escalation"),
        erasable("afloat_headcount"),
        erasable("afloat_launchcheck"),
        erasable("afloat_logcorrection"),
        erasable("afloat_phasechange"),
        erasable("afloat_sighting"),
        erasable("bench_inspection"),
        erasable("bench_jobline"),
        erasable("bench_returncheck"),
        erasable("bench_returnline"),
        erasable("bench_rigwear"),
        erasable("bench_wearposting"),
        erasable("incidents_closing"),
        erasable("incidents_followup"),
        erasable("incidents_incident"),
        erasable("incidents_incidentitem"),
        erasable("incidents_telling"),
        erasable("lessons_levelword"),
        erasable("lessons_progress"),
        erasable("rigs_card"),
        erasable("takings_charge"),
        erasable("takings_dayclose"),
        erasable("takings_ledgerentry"),
        erasable("takings_pass"),
        erasable("takings_passuse"),
        erasable("takings_payment"),
        erasable("takings_price"),
        erasable("takings_receipt"),
        erasable("takings_receiptline"),
        erasable("takings_taxrate"),
        erasable("takings_voucher"),
        erasable("incidents_callmade"),
        erasable("checklists_checklist"),
    ]
