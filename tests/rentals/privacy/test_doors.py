"""Who gets through: export and erasure by role, and what only the service itself lets go."""

import pytest

from rentals.audit.models import Entry
from rentals.lib.access import NOBODY, System, service
from rentals.lib.problems import NotAllowed, NotVisible
from rentals.privacy import services
from tests.rentals.test_doors import ROLES
from tests.rentals.walk import Walk

DOORS = {"export_rider": services.export_rider, "erase_rider": services.erase_rider}


@pytest.mark.parametrize("name", DOORS)
@pytest.mark.parametrize("role", ROLES)
def test_the_manager_alone_gets_through(cast: Walk, name: str, role: str) -> None:
    call, actor = DOORS[name], ROLES[role](cast)
    rider, before = cast.wren, Entry.objects.count()

    if role == "M":
        call(actor=actor, rider_id=rider.pk, now=cast.now)
        assert Entry.objects.count() > before
    else:
        with pytest.raises(NotAllowed, match="Ask a colleague who is"):
            call(actor=actor, rider_id=rider.pk, now=cast.now)


@pytest.mark.parametrize("name", DOORS)
def test_from_elsewhere_there_is_nothing_here(cast: Walk, name: str) -> None:
    for actor in (cast.rhys, cast.actor(cast.stranger), NOBODY, service(*System)):
        with pytest.raises(NotVisible):
            DOORS[name](actor=actor, rider_id=cast.wren.pk, now=cast.now)


def test_only_the_service_itself_lets_go(cast: Walk) -> None:
    for actor in (cast.boss, NOBODY, service(*(set(System) - {System.RETAIN}))):
        with pytest.raises(NotAllowed, match="Only the service itself"):
            services.let_go(actor=actor, now=cast.now)
