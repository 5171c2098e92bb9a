"""Workers and beats that die by kill -9 at a chosen point and are started again: `mortal crew`.

The test writes the point into a file; whoever comes to that point first takes the file and is killed there.
All are forked from one process that has everything loaded, so that a new one is there at once.
"""

import os
import signal
import sys
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

ORDER = Path(os.environ.get("MORTAL_ORDER", "/nowhere"))
EVERY_S = 0.5
LEASE = timedelta(seconds=3)
CREW = ("worker-1", "worker-2", "beat-1", "beat-2")

POINTS = (
    "phase row written",
    "letter written",
    "call written",
    "journal written",
    "watch committed",
    "letter taken",
    "letter sent",
    "call taken",
    "call answered",
    "between the letters",
)


def die_at(point: str) -> None:
    """Die here when that is what was ordered; of several who come, one takes the order."""
    try:
        if ORDER.read_text() != point:
            return
        ORDER.rename(ORDER.with_suffix(".done"))
    except OSError:
        return
    os.kill(os.getpid(), signal.SIGKILL)


def dying(step: Callable[..., Any], *, before: str = "", after: str = "") -> Callable[..., Any]:
    """Return a step that may be the last one."""

    def run(*args: Any, **kwargs: Any) -> Any:
        if before:
            die_at(before)
        done = step(*args, **kwargs)
        if after:
            die_at(after)
        return done

    return run


def make_mortal() -> None:
    """Put the points of death into the code, and shorten what a test need not wait for."""
    import django

    django.setup()
    from django.core.mail import EmailMessage

    from rentals.afloat import services as afloat
    from rentals.afloat.services import watching
    from rentals.celery import app
    from rentals.lib import web
    from rentals.mail import services as mail

    mail.LEASE = LEASE
    watching.mail.write_letter = dying(  # type: ignore[attr-defined]
        watching.mail.write_letter,  # type: ignore[attr-defined]
        before="phase row written",
        after="letter written",
    )
    mail.write_call = dying(mail.write_call, after="call written")
    watching.journal.record = dying(  # type: ignore[attr-defined]
        watching.journal.record,  # type: ignore[attr-defined]
        after="journal written",
    )
    afloat.watch = dying(afloat.watch, after="watch committed")
    mail.take_next = dying(mail.take_next, after="letter taken")
    EmailMessage.send = dying(EmailMessage.send, after="letter sent")  # type: ignore[method-assign]
    mail.put_down = dying(mail.put_down, after="between the letters")
    mail.take_call = dying(mail.take_call, after="call taken")
    web.post_signed = dying(web.post_signed, after="call answered")
    wanted = ("afloat.watch", "mail.send", "mail.call")
    app.conf.beat_schedule = {task: {"task": task, "schedule": EVERY_S} for task in wanted}
    app.conf.beat_max_loop_interval = EVERY_S


def prepare(outings: int, hook_url: str) -> None:
    """Fill an empty database with riders on the water, none of them late yet; print the hook's secret."""
    import django

    django.setup()
    from django.core.management import call_command

    from rentals.afloat import services as afloat
    from rentals.afloat.models import LaunchCheck
    from rentals.bookings.models import Booking, Outing, Party
    from rentals.lib.access import Role
    from rentals.people.mapping import actor_of
    from rentals.people.models import Posting, Rider, User
    from rentals.stations.models import Station

    call_command("migrate", verbosity=0)
    now = datetime.now(UTC)
    station = Station.objects.create(
        name="Tarrow Lagoon", slug="tarrow-lagoon", zone_name="Europe/Lisbon", latitude_deg=45.2,
        longitude_deg=-9.6, seaward_deg=250, opens="08:00", closes="19:00",
        watch_email="watch@tarrow.invalid", rescue_number="0800 000 000", acknowledge_min=60,
    )  # fmt: skip
    user = User.objects.create(username="maud")
    Posting.objects.create(user=user, station=station, role=Role.MANAGER, since=date(2026, 1, 1))
    party = Party.objects.create(station=station, contact_name="Greta Nance", contact_phone="0700 000 001")
    booking = Booking.objects.create(party=party, kind=Booking.Kind.RENTAL, booked_at=now)
    for number in range(outings):
        rider = Rider.objects.create(
            station=station, name=f"Rider {number}", born_on=date(1990, 5, 1), mass_kg=Decimal(72),
            stature_cm=175, level="advanced", swims=True,
        )  # fmt: skip
        outing = Outing.objects.create(
            station=station, booking=booking, rider=rider,
            starts_at=now - timedelta(hours=2), ends_at=now + timedelta(hours=9),
        )  # fmt: skip
        LaunchCheck.objects.create(outing=outing, kit_no=0, at=now, by=user, passed=True, points=[], gates=[])
        for state in ("kitted", "cleared"):
            Outing.objects.filter(pk=outing.pk).update(state=state)
        Outing.objects.filter(pk=outing.pk).update(state="afloat", launched_at=now - timedelta(hours=2))
    secret = afloat.set_hook(actor=actor_of(user, now.date()), station_id=station.pk, url=hook_url, now=now)
    sys.stdout.write(secret)


def crew(folder: Path) -> None:
    """Keep two workers and two beats running until we are killed ourselves; note each death and each pid."""
    make_mortal()
    from rentals.celery import app

    app.loader.import_default_modules()
    running: dict[int, str] = {}
    for name in CREW:
        running[_born(name, folder)] = name
    while True:
        pid, status = os.wait()
        name = running.pop(pid)
        with (folder / "deaths").open("a") as deaths:
            deaths.write(f"{name} {os.waitstatus_to_exitcode(status)}\n")
        running[_born(name, folder)] = name


def _born(name: str, folder: Path) -> int:
    pid = os.fork()
    if pid:
        (folder / f"{name}.pid").write_text(str(pid))
        return pid
    from rentals.celery import app

    if name.startswith("worker"):
        app.worker_main(
            ["worker", "--pool", "solo", "--without-gossip", "--without-mingle", "-n", f"{name}@x"]
        )
    else:
        app.start(["beat", "--pidfile=", "-s", str(folder / name)])
    os._exit(1)


def main(what: str, *rest: str) -> None:
    """Prepare the water, or run the crew."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "rentals.settings")
    if what == "prepare":
        prepare(int(rest[0]), rest[1])
    else:
        crew(Path(rest[0]))


if __name__ == "__main__":
    main(*sys.argv[1:])
