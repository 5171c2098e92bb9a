"""One rider's whole day over the API."""

from rentals.bench.services import post_wear
from rentals.lib.access import System, service
from tests.api.bodies import BEACH, a_party, a_wind
from tests.api.client import Api
from tests.cast import Cast


def test_a_rider_goes_out_and_comes_back_and_the_fault_is_mended(cast: Cast, api: Api) -> None:
    desk, instructor, manager = api.of(cast.desk), api.of(cast.instructor), api.of(cast.manager)
    assert cast.shed
    station = f"/stations/{cast.tarrow.slug}"
    assert instructor.post(f"{station}/weather/hand/", a_wind()).status == 201
    assert instructor.post(f"{station}/beach/", BEACH).status == 201

    booking = desk.post(f"{station}/bookings/", a_party()).said
    outing = f"/outings/{booking['outings'][0]['id']}"
    offers = desk.get(f"{outing}/offers/").said
    best = next(offer for offer in offers["sails"] if offer["fits"])
    chosen = desk.post(
        f"{outing}/kit/",
        {
            "sail_id": best["item"]["id"],
            "board_id": offers["boards"][0]["item"]["id"],
            "worn": {kind: offers["worn"][kind][0]["id"] for kind in ("buoyancy_aid", "wetsuit")},
        },
    )
    assert chosen.status == 201, chosen.said
    assert desk.post(f"{outing}/issue/", {"kit_no": 1}).said["state"] == "kitted"

    sheet = instructor.get(f"{outing}/launch-sheet/").said
    ticked = [point["key"] for point in sheet["points"]]
    check = instructor.post(f"{outing}/launch-checks/", {"kit_no": 1, "ticked": ticked, "launch": True}).said
    assert (check["passed"], check["state"]) == (True, "afloat"), check["gates"]
    assert desk.get(f"{station}/today/").said["afloat"] == 1
    assert desk.post(f"{outing}/ashore/").said["state"] == "ashore"

    kit = desk.get(f"{outing}/").said["kit"]
    lines = [{"item_id": part["item"]["id"], "back": True, "rinsed": True} for part in kit]
    lines[0]["fault"] = "Batten broken"
    back = desk.post(f"{outing}/return-checks/", {"lines": lines, "felt": "right"})
    assert (back.status, back.said["state"]) == (201, "closed")
    assert post_wear(actor=service(System.POST_WEAR), now=cast.now) == 1

    (job,) = desk.get(f"{station}/jobs/").said["results"]
    assert (job["fault"], job["state"]) == ("Batten broken", "open")
    assert instructor.post(f"/jobs/{job['id']}/mend/", {"work": "New batten", "minutes": 15}).status == 200
    assert manager.post(f"/jobs/{job['id']}/release/").said["state"] == "released"
    life = desk.get(f"/items/{job['item']['id']}/").said
    assert (life["state"], life["outings"]) == ("ready", 1)
    assert [entry["act"] for entry in life["journal"]][:2] == ["release an item from the bench"] * 2
