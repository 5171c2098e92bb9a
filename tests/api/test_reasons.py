"""Every number that staff may see comes with its reason: a sentence, a rule and a source."""

from datetime import timedelta
from typing import Any

import pytest

from rentals.lib import clock
from tests.api.client import Api
from tests.cast import Cast


def explained(reasons: list[dict[str, Any]]) -> bool:
    """Whether there is a reason, and each says text, rule and source."""
    return bool(reasons) and all(each["text"] and each["rule"] and each["source"] for each in reasons)


def test_offers_explain_the_wind_each_sail_and_each_board(cast: Cast, api: Api) -> None:
    (outing,) = cast.booked()
    assert cast.shed
    cast.blow()

    offers = api.of(cast.desk).get(f"/outings/{outing.pk}/offers/").said

    assert explained(offers["slot"]["reasons"])
    assert [sail["item"]["tag"] for sail in offers["sails"] if not explained(sail["reasons"])] == []
    assert [sail["item"]["tag"] for sail in offers["sails"] if not sail["parts_reason"]] == []
    assert [board["item"]["tag"] for board in offers["boards"] if not explained(board["reasons"])] == []


def test_offers_say_the_best_sail_first_and_what_forbids_the_others(cast: Cast, api: Api) -> None:
    (outing,) = cast.booked()
    assert cast.shed
    cast.blow(mean_ms=16, gust_ms=20)

    sails = api.of(cast.desk).get(f"/outings/{outing.pk}/offers/").said["sails"]

    fits = [sail["fits"] for sail in sails]
    assert fits == sorted(fits, reverse=True)
    forbidden = [sail for sail in sails if not sail["fits"]]
    assert forbidden
    assert all(explained(sail["vetoes"]) or (not sail["rig"] and sail["parts_reason"]) for sail in forbidden)


def test_shares_of_a_slot_add_up_to_all_of_it(cast: Cast, api: Api) -> None:
    (outing,) = cast.booked()
    assert cast.shed
    cast.blow()

    sails = api.of(cast.desk).get(f"/outings/{outing.pk}/offers/").said["sails"]

    assert [sail["under"] + sail["powered"] + sail["over"] for sail in sails] == pytest.approx([1] * 3)


def test_a_card_explains_every_setting_with_its_inputs(cast: Cast, api: Api) -> None:
    outing = cast.kitted()

    card = api.of(cast.desk).get(f"/outings/{outing.pk}/card/").said

    assert explained([setting["reason"] for setting in card["settings"]])
    assert all(
        given.keys() == {"name", "value", "unit"}
        for setting in card["settings"]
        for given in setting["reason"]["inputs"]
    )
    assert explained(card["choice"]["reasons"])


def test_a_launch_sheet_explains_every_gate_and_carries_the_caution(cast: Cast, api: Api) -> None:
    outing = cast.issued()

    sheet = api.of(cast.instructor).get(f"/outings/{outing.pk}/launch-sheet/").said

    assert explained([gate["reason"] for gate in sheet["gates"]])
    assert "rescue service" in sheet["caution"]


def test_lateness_carries_its_reason_and_what_to_do(
    cast: Cast, api: Api, monkeypatch: pytest.MonkeyPatch
) -> None:
    cast.out(hour=10)
    late = cast.at(12) + timedelta(minutes=30)
    monkeypatch.setattr(clock, "now", lambda: late)

    (row,) = api.of(cast.desk).get(f"/stations/{cast.tarrow.slug}/today/").said["late"]

    assert row["lateness"]["overdue_min"] == 30
    assert explained([row["lateness"]["reason"]])
    assert row["lateness"]["action"]
