"""Bodies that are in order, to be changed in one place by a test."""

from typing import Any

BEACH: dict[str, Any] = {
    "safety_boat_manned": True,
    "instructors": 2,
    "lightning": False,
    "water_c": 18,
    "beach_mean_ms": 7.5,
    "beach_gust_ms": 9,
    "from_deg": 330,
}


def a_wind(**other: Any) -> dict[str, Any]:
    """A wind entered for the day of the tests."""
    return {
        "starts_at": "2027-07-14T08:00+01:00",
        "ends_at": "2027-07-14T20:00+01:00",
        "mean_10_m_ms": 11,
        "gust_10_m_ms": 13,
        "from_deg": 330,
        **other,
    }


def a_party(**other: Any) -> dict[str, Any]:
    """A booking for one new rider."""
    return {
        "contact": {"name": "Sorrel Reed", "phone": "0700 300 400"},
        "kind": "rental",
        "starts_at": "2027-07-14T11:00+01:00",
        "ends_at": "2027-07-14T13:00+01:00",
        "new_riders": [a_rider()],
        **other,
    }


def a_rider(**other: Any) -> dict[str, Any]:
    """What is entered about a rider."""
    return {
        "name": "Sorrel Reed",
        "born_on": "1992-04-05",
        "mass_kg": 72,
        "stature_cm": 176,
        "level": "advanced",
        "swims": True,
        "waiver": True,
        **other,
    }


def a_look(**other: Any) -> dict[str, Any]:
    """What one rider would like to know of an afternoon."""
    rider = {"mass_kg": 72, "level": "advanced"}
    return {"day": "2027-07-14", "half": "afternoon", "hours": 2, "riders": [rider], **other}


def a_party_at_home(**other: Any) -> dict[str, Any]:
    """A rental from home for one."""
    return {
        **a_party_of_pupils(),
        "starts_at": "2027-07-14T14:00+01:00",
        "ends_at": "2027-07-14T16:00+01:00",
        "riders": [a_rider()],
        **other,
    }


def a_party_of_pupils(**other: Any) -> dict[str, Any]:
    """Somebody at home who wants to learn."""
    return {
        "contact": {"name": "Sorrel Reed", "email": "sorrel@reed.invalid"},
        "riders": [a_rider(level="beginner")],
        "privacy": True,
        **other,
    }
