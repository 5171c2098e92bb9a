"""Addresses: the API under its version, each app's pages under their station."""

from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import LoginView, LogoutView, PasswordChangeView
from django.urls import URLPattern, URLResolver, include, path
from django.views.i18n import set_language

from rentals.afloat import views as afloat
from rentals.bench.urls import service_urlpatterns as bench_urlpatterns
from rentals.desk.views import home
from rentals.home.urls import public
from rentals.lessons.urls import feeds
from rentals.people.urls import service_urlpatterns

handler400 = "rentals.lib.errors.bad_request"
handler500 = "rentals.lib.errors.server_error"

urlpatterns: list[URLPattern | URLResolver] = [
    path("", home, name="home"),
    path("health/", afloat.health, name="health"),
    path("health/live/", afloat.health_live, name="health-live"),
    path("health/ready/", afloat.health_ready, name="health-ready"),
    path("api/v1/", include("api.urls")),
    path(
        "sign-in/", login_not_required(LoginView.as_view(template_name="people/sign_in.html")), name="sign-in"
    ),
    *feeds,
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
    path(
        "password/",
        PasswordChangeView.as_view(template_name="people/password.html", success_url="/"),
        name="password",
    ),
    path("", include(service_urlpatterns)),
    path("", include(bench_urlpatterns)),
    path("language/", login_not_required(set_language), name="set_language"),
    *public,
    path("<slug:station_slug>/", include("rentals.privacy.urls")),
    path("<slug:station_slug>/", include("rentals.home.urls")),
    path("<slug:station_slug>/", include("rentals.desk.urls")),
    path("<slug:station_slug>/", include("rentals.review.urls")),
    path("<slug:station_slug>/", include("rentals.incidents.urls")),
    path("<slug:station_slug>/", include("rentals.bench.urls")),
    path("<slug:station_slug>/", include("rentals.afloat.urls")),
    path("<slug:station_slug>/", include("rentals.dayplan.urls")),
    path("<slug:station_slug>/", include("rentals.rigs.urls")),
    path("<slug:station_slug>/", include("rentals.lessons.urls")),
    path("<slug:station_slug>/", include("rentals.takings.urls")),
    path("<slug:station_slug>/", include("rentals.weather.urls")),
    path("<slug:station_slug>/", include("rentals.checklists.urls")),
    path("<slug:station_slug>/", include("rentals.errands.urls")),
    path("<slug:station_slug>/", include("rentals.people.urls")),
]
