"""Calendar feeds at secret addresses: made, shown once, and revoked with one click."""

from dataclasses import dataclass
from datetime import datetime

from rentals.audit import services as journal
from rentals.lessons.models import Feed
from rentals.lessons.queries import staff_of
from rentals.lessons.services.crew import UnableToRoster
from rentals.lib.access import Act, Actor
from rentals.lib.problems import NotVisible
from rentals.lib.secret import digest, new_token
from rentals.lib.writes import write
from rentals.stations.models import Station


@dataclass(frozen=True, slots=True)
class MadeFeed:
    """A feed just made, and the token of its address: nobody can read that again."""

    feed: Feed
    token: str


@write
def make_feed(*, actor: Actor, station_id: int, user_id: int | None, now: datetime) -> MadeFeed:
    """Make the calendar address of somebody who works here, or of the station; an older one stops working.

    Raises:
        UnableToRoster: nobody who works here.
    """
    actor.require(Act.MAKE_FEED, station_id=station_id)
    station = Station.objects.select_for_update().get(pk=station_id)
    names = {user.pk: user.shown_name for user in staff_of(station, station.local(now).date())}
    if user_id is not None and user_id not in names:
        raise UnableToRoster.at("user", "Choose somebody who works here.")
    feeds = Feed.objects.filter(station=station, revoked_at=None)
    older = feeds.filter(user=None) if user_id is None else feeds.filter(user=user_id)
    older.update(revoked_at=now)
    token = new_token()
    feed = Feed.objects.create(
        station=station, user_id=user_id, digest=digest(token), made_at=now, made_by_id=actor.user_id
    )
    whose = station.name if user_id is None else names[user_id]
    _tell(actor, feed, f"Made a calendar address of {whose}", now)
    return MadeFeed(feed, token)


@write
def revoke_feed(*, actor: Actor, feed_id: int, now: datetime) -> Feed:
    """Let a calendar address stop working; doing it twice changes nothing.

    Raises:
        NotVisible: no such feed at the actor's stations.
    """
    feed = (
        Feed.objects.select_related("station", "user")
        .filter(pk=feed_id, station_id__in=actor.station_ids)
        .first()
    )
    if feed is None:
        raise NotVisible("There is no such calendar here.")
    actor.require(Act.MAKE_FEED, station_id=feed.station_id)
    if Feed.objects.filter(pk=feed.pk, revoked_at=None).update(revoked_at=now):
        whose = feed.user.shown_name if feed.user else feed.station.name
        _tell(actor, feed, f"Revoked the calendar address of {whose}", now)
    return feed


def _tell(actor: Actor, feed: Feed, text: str, now: datetime) -> None:
    line = journal.Line("station", feed.station_id, text)
    journal.record(actor=actor, act=Act.MAKE_FEED, station_id=feed.station_id, lines=[line], now=now)
