"""Reports of a mail service on letters that did not arrive, signed by the Standard Webhooks specification."""

from http import HTTPStatus
from typing import Any, ClassVar

from django.conf import settings
from drf_spectacular.types import OpenApiTypes
from rest_framework.request import Request
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint, Json
from api.schema import operation
from api.shapes import Choice, In, Note, Text
from api.weather import Whole
from rentals.lib import clock, web
from rentals.lib.access import System, service
from rentals.lib.problems import Refused
from rentals.mail import mapping, services

OUTCOMES = ("bounced", "delayed", "delivered")


class NotSigned(Refused):
    """A report that nobody signed with the secret of this service."""

    status = HTTPStatus.UNAUTHORIZED
    slug = "not-signed"
    title = "Sign the report"


class UnableToRead(Refused):
    """A message that is no delivery status notification."""

    slug = "no-report"
    title = "That is no report on a delivery"


class DeliveryReport(In):
    """What became of one letter."""

    message_id = Text(most=300, help_text="As the letter had it in its Message-ID.")
    outcome = Choice(OUTCOMES, help_text="`bounced` when it was given up for good.")
    reason = Note(help_text="What the other side said.")


class Dsn(Whole):
    """A delivery status notification, whole, as a mail server sends it (RFC 3464)."""

    media_type = "message/rfc822"


class DeliveryReports(Endpoint):
    """Reports on deliveries; whoever has the secret sends them, nobody signs in."""

    authentication_classes = ()
    permission_classes = ()
    parser_classes = (Json, Dsn)
    pointers: ClassVar = {"content": ""}

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Refuse what is not signed before anything of it is read."""
        super().initial(request, *args, **kwargs)
        if not settings.MAIL_REPORTS_SECRET:
            raise NotSigned("This service takes no reports: MARRAM_MAIL_REPORTS_SECRET is not set.")
        try:
            web.check_signed(request._request.body, request.headers, secret=settings.MAIL_REPORTS_SECRET)
        except web.NotSigned as refused:
            raise NotSigned(str(refused)) from refused

    @operation(
        "report_delivery",
        status=HTTPStatus.NO_CONTENT,
        body={Json.media_type: DeliveryReport, Dsn.media_type: OpenApiTypes.STR},
    )
    def post(self, request: Asked) -> Response:
        """Take a report on a letter: one that came back is marked on the outing's page and in the outbox.

        Sign the body by the Standard Webhooks specification with the secret in MARRAM_MAIL_REPORTS_SECRET.
        """
        services.note_return(actor=service(System.NOTE_RETURNS), report=self._report(), now=clock.now())
        return Response(status=HTTPStatus.NO_CONTENT)

    def _report(self) -> mapping.Report:
        if self.request.content_type.partition(";")[0].strip().casefold() == Dsn.media_type:
            try:
                return mapping.read_dsn(self.sent["content"])
            except mapping.Unreadable as problem:
                raise UnableToRead(str(problem)) from problem
        sent = self.body(DeliveryReport)
        return mapping.Report(
            message_id=sent["message_id"], lost=sent["outcome"] == "bounced", reason=sent["reason"]
        )
