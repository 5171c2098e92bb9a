"""Addresses of the API, version 1."""

from django.urls import URLPattern, path, re_path

from api import (
    beach,
    bookings,
    items,
    jobs,
    kit,
    launches,
    outings,
    reference,
    returns,
    riders,
    stations,
    today,
    tokens,
    weather,
)

app_name = "api"

urlpatterns: list[URLPattern] = [
    path("schema", reference.Document.as_view(), name="schema"),
    path("problems/<slug:slug>/", reference.ProblemKind.as_view(), name="problem-kind"),
    path("auth/tokens/", tokens.Tokens.as_view(), name="tokens"),
    path("auth/tokens/current/", tokens.CurrentToken.as_view(), name="current-token"),
    path("stations/", stations.Stations.as_view(), name="stations"),
    path("stations/<slug:station>/", stations.OneStation.as_view(), name="station"),
    path("stations/<slug:station>/today/", today.Today.as_view(), name="today"),
    path("stations/<slug:station>/beach/", beach.Beach.as_view(), name="beach"),
    path("stations/<slug:station>/weather/", weather.Weather.as_view(), name="weather"),
    path("stations/<slug:station>/weather/hand/", weather.HandEntries.as_view(), name="weather-hand"),
    path("stations/<slug:station>/weather/files/", weather.Files.as_view(), name="weather-files"),
    path("stations/<slug:station>/weather/sources/", weather.Sources.as_view(), name="weather-sources"),
    path(
        "stations/<slug:station>/weather/sources/<int:source>/",
        weather.OneSource.as_view(),
        name="weather-source",
    ),
    path("stations/<slug:station>/riders/", riders.Riders.as_view(), name="riders"),
    path("stations/<slug:station>/bookings/", bookings.Bookings.as_view(), name="bookings"),
    path("stations/<slug:station>/outings/", outings.Outings.as_view(), name="outings"),
    path("stations/<slug:station>/items/", items.Items.as_view(), name="items"),
    path("stations/<slug:station>/jobs/", jobs.Jobs.as_view(), name="jobs"),
    path("riders/<int:rider_id>/", riders.OneRider.as_view(), name="rider"),
    path("bookings/<int:booking_id>/", bookings.OneBooking.as_view(), name="booking"),
    path("outings/<int:outing_id>/", outings.OneOuting.as_view(), name="outing"),
    path("outings/<int:outing_id>/cancel/", outings.Cancel.as_view(), name="cancel"),
    path("outings/<int:outing_id>/offers/", kit.OfferedKit.as_view(), name="offers"),
    path("outings/<int:outing_id>/kit/", kit.ChosenKit.as_view(), name="kit"),
    path("outings/<int:outing_id>/card/", kit.RigCard.as_view(), name="card"),
    path("outings/<int:outing_id>/issue/", kit.Issue.as_view(), name="issue"),
    path("outings/<int:outing_id>/launch-sheet/", launches.Sheet.as_view(), name="launch-sheet"),
    path("outings/<int:outing_id>/launch-checks/", launches.Checks.as_view(), name="launch-checks"),
    path("outings/<int:outing_id>/launch/", launches.Launch.as_view(), name="launch"),
    path("outings/<int:outing_id>/ashore/", launches.Ashore.as_view(), name="ashore"),
    path("outings/<int:outing_id>/return-checks/", returns.Returns.as_view(), name="return-checks"),
    path("items/<int:item_id>/", items.OneItem.as_view(), name="item"),
    path("items/<int:item_id>/faults/", items.Faults.as_view(), name="faults"),
    path("items/<int:item_id>/withdraw/", items.Withdraw.as_view(), name="withdraw"),
    path("jobs/<int:job_id>/mend/", jobs.Mend.as_view(), name="mend"),
    path("jobs/<int:job_id>/release/", jobs.Release.as_view(), name="release"),
    # Last, so that an address which leads nowhere is answered as a problem and not as a page.
    re_path("", reference.Nothing.as_view(), name="nothing"),
]
