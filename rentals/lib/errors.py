"""Pages for what went wrong, in the language of whoever sees them; they need neither database nor session."""

import logging
from http import HTTPStatus
from typing import Final

from django.http import HttpRequest, HttpResponse
from django.template import loader
from django.utils import translation

log = logging.getLogger(__name__)

LAST_WORDS: Final = (
    '<!doctype html><html lang="en"><head><meta charset="utf-8">'
    '<meta name="viewport" content="width=device-width"><title>That did not work</title></head><body>'
    "<h1>That did not work</h1><p>Go back and try again. If somebody is on the water, watch the water first."
    '</p><p lang="de">Das hat nicht geklappt. Gehen Sie zurück und versuchen Sie es noch einmal.</p>'
    '<p lang="es">No ha funcionado. Vuelva atrás e inténtelo otra vez.</p>'
    '<p lang="fr">Cela n’a pas marché. Revenez en arrière et réessayez.</p></body></html>'
)
"""Said in every language at once when not even a page can be made."""


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Say that what was sent cannot be read."""
    return _page(request, "400.html", HTTPStatus.BAD_REQUEST)


def server_error(request: HttpRequest) -> HttpResponse:
    """Say that the fault is ours."""
    return _page(request, "500.html", HTTPStatus.INTERNAL_SERVER_ERROR)


def _page(request: HttpRequest, template: str, status: HTTPStatus) -> HttpResponse:
    try:
        # A page behind a letter's link has set the language of whom it was written to.
        language = getattr(request, "LANGUAGE_CODE", "") or translation.get_language_from_request(request)
        with translation.override(language):
            # Without the request, no context processor asks for anything.
            page = loader.get_template(template).render({"language": language})
    except Exception:
        # The fault that brought us here may be in any of it.
        log.exception("%s could not be made", template)
        return HttpResponse(LAST_WORDS, status=status)
    return HttpResponse(page, status=status, headers={"Content-Language": language})
