"""Settings and recommendations as a card keeps them, and back as a page shows them."""

from dataclasses import dataclass
from typing import Any

from rigging import sizing, trim, wind
from rigging.reason import Reason


@dataclass(frozen=True, slots=True)
class ShownSetting:
    """One line of a rig card."""

    name: str
    value: float
    unit: str
    tolerance: float
    text: str
    rule: str
    source: str


def settings_to_json(settings: trim.Settings) -> dict[str, Any]:
    """Return settings as a card keeps them."""
    return {
        "numbers": [
            {
                "name": setting.name,
                "value": setting.value,
                "unit": setting.unit,
                "tolerance": setting.tolerance,
                **reason_to_json(setting.reason),
            }
            for setting in settings.numbers
        ],
        "band": settings.band.value,
        "look_for": list(settings.look_for),
        "warnings": list(settings.warnings),
        "tunings": [
            {"band": each.band.value, "downhaul_cm": each.downhaul_cm, "outhaul_cm": each.outhaul_cm}
            for each in settings.tunings
        ],
    }


def choice_to_json(offer: sizing.Recommendation) -> dict[str, Any]:
    """Return a recommendation as a card keeps it."""
    return {
        "sail": offer.sail.name,
        "area_m2": offer.sail.area_m2,
        "mode": offer.mode.value,
        "under": offer.under,
        "powered": offer.powered,
        "over": offer.over,
        "window_ms": list(offer.window),
        "vetoes": [veto.text for veto in offer.vetoes],
        "reasons": [reason_to_json(reason) for reason in offer.reasons],
    }


def slot_to_json(slot: wind.SlotWind) -> dict[str, Any]:
    """Return the wind a card was made for."""
    return {
        "mean_10_m_ms": slot.mean_ms,
        "gust_10_m_ms": slot.gust_ms,
        "lull_10_m_ms": slot.lull_ms,
        "from_deg": slot.from_deg,
        "density_kg_m3": slot.density_kg_m3,
        "gust_assumed": slot.gust_assumed,
        "covered_minutes": slot.covered_minutes,
        "slot_minutes": slot.slot_minutes,
    }


def reason_to_json(reason: Reason) -> dict[str, Any]:
    """Return a reason as a card keeps it."""
    return {
        "text": reason.text,
        "rule": reason.rule,
        "source": reason.source,
        "inputs": [[each.name, each.value, each.unit] for each in reason.inputs],
    }


def shown_settings(stored: dict[str, Any]) -> tuple[ShownSetting, ...]:
    """Return a card's numbers in the order of rigging."""
    names = ShownSetting.__slots__
    return tuple(ShownSetting(**{name: number[name] for name in names}) for number in stored["numbers"])
