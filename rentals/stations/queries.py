"""What a station allows: the wind limits of each level, its own or the trade's usual ones."""

from dataclasses import replace

from rentals.stations.models import Station, WindLimit
from rigging import sizing, units


def policy_of(station: Station) -> sizing.Policy:
    """Return the station's settings for choosing sails: one query."""
    usual = sizing.Policy()
    own = dict(WindLimit.objects.filter(station=station).values_list("level", "mean_ms"))
    levels = {
        level: replace(limits, mean_cap_kn=float(units.knots(own[level]))) if level in own else limits
        for level, limits in usual.levels.items()
    }
    return replace(usual, levels=levels)


def cap_ms(policy: sizing.Policy, level: str) -> float:
    """Return the limit of a level on mean beach wind, in m/s."""
    return float(units.from_knots(policy.levels[sizing.Level(level)].mean_cap_kn))


def all_ids() -> list[int]:
    """Return the stations there are, for work that is done at each of them."""
    return list(Station.objects.order_by("id").values_list("id", flat=True))


def wind_limits(station: Station) -> tuple[dict[str, float], dict[str, float]]:
    """Return the usual limit of each level and the station's own, in m/s of mean beach wind: one query."""
    usual = {
        level.value: float(units.from_knots(limits.mean_cap_kn))
        for level, limits in sizing.Policy().levels.items()
    }
    return usual, dict(WindLimit.objects.filter(station=station).values_list("level", "mean_ms"))
