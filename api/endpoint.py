"""What every endpoint shares: who asks and where, what is read in, how an answer goes out."""

from collections.abc import Mapping, Sequence
from datetime import UTC
from http import HTTPStatus
from typing import IO, Any, ClassVar
from uuid import UUID

from django.conf import settings
from django.db.models import QuerySet
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.utils import timezone
from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser, JSONParser
from rest_framework.permissions import BasePermission, IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api import paging
from api.problems import BadKey, BadQuery, TooLarge
from api.shapes import In, Out
from rentals.lib.access import Actor
from rentals.lib.problems import NotVisible
from rentals.stations.models import Station


class Asked(Request):
    """A request whose actor is known."""

    actor: Actor


class Json(JSONParser):
    """JSON in; what nests too deep is refused as malformed like anything else that is."""

    def parse(
        self, stream: IO[Any], media_type: str | None = None, parser_context: Mapping[str, Any] | None = None
    ) -> dict[str, Any]:
        try:
            return super().parse(stream, media_type, parser_context)
        except RecursionError as error:
            raise ParseError("The JSON nests too deep.") from error


class Endpoint(APIView):
    """One address. Times go out on the clock of the station that `station` names."""

    permission_classes: Sequence[type[BasePermission]] = (IsAuthenticated,)
    parser_classes: Sequence[type[BaseParser]] = (Json,)
    request: Asked

    pointers: ClassVar[Mapping[str, str]] = {}
    """JSON pointers of fields that a service names otherwise than the body does."""

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        # The station's zone, activated below, must not outlive the request.
        with timezone.override(UTC):
            return super().dispatch(request, *args, **kwargs)

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Refuse a body too large to read, then ask who it is."""
        if int(request.META.get("CONTENT_LENGTH") or 0) > settings.DATA_UPLOAD_MAX_MEMORY_SIZE:
            raise TooLarge(f"Send at most {settings.DATA_UPLOAD_MAX_MEMORY_SIZE // 2**20} MB.")
        super().initial(request, *args, **kwargs)

    def pointer_of(self, name: str) -> str:
        """Return the JSON pointer of a field as a service names it."""
        return self.pointers.get(name, f"/{name.replace('.', '/')}")

    def station(self, slug: str) -> Station:
        """Return a station that the actor may see, and set the clock to it: one query.

        Raises:
            NotVisible: there is none of that name for this actor.
        """
        station = Station.objects.visible_to(self.request.actor).filter(slug=slug).first()
        if station is None:
            raise NotVisible("There is no such station here.")
        self.on_clock_of(station)
        return station

    def on_clock_of(self, station: Station) -> None:
        """Let times go out on a station's clock."""
        timezone.activate(station.zone)

    @property
    def sent(self) -> Any:
        """What the body held, not yet cleaned."""
        return self.request.data

    def body(self, shape: type[In]) -> dict[str, Any]:
        """Return what was sent, cleaned.

        Raises:
            ValidationError: with the fields that are off.
        """
        sent = shape(data=self.sent)
        sent.is_valid(raise_exception=True)
        cleaned: dict[str, Any] = sent.validated_data
        return cleaned

    def query(self, shape: type[In]) -> dict[str, Any]:
        """Return the query's parameters, cleaned; empty ones count as left out.

        Raises:
            BadQuery: with the parameters that are off.
        """
        sent = {name: value for name, value in self.request.query_params.items() if value}
        asked = shape(data=sent)
        if not asked.is_valid():
            raise BadQuery(asked.errors)
        cleaned: dict[str, Any] = asked.validated_data
        return cleaned

    def once(self) -> UUID | None:
        """Return the request's own key, so that it counts once; None when it has none.

        Raises:
            BadKey: the header holds something else than a UUID, quoted or bare.
        """
        written = self.request.headers.get("Idempotency-Key")
        if written is None:
            return None
        try:
            return UUID(written.strip().removeprefix('"').removesuffix('"'))
        except ValueError as error:
            raise BadKey(
                'Send a UUID, such as Idempotency-Key: "7d9f1d0e-5b0a-4f0c-9a53-2f8d9d0e1a11".'
            ) from error

    def say(self, shape: type[Out], thing: object, status: int = HTTPStatus.OK) -> Response:
        """Answer with one thing."""
        return Response(shape(thing, context={"request": self.request}).data, status=status)

    def page(self, shape: type[Out], found: QuerySet[Any], key: str, asked: Mapping[str, Any]) -> Response:
        """Answer with a page of rows in the order of a key and the id."""
        cut = paging.cut(found, key, asked, scope=self.request.path)
        following = paging.address(self.request, cut.cursor)
        headers = {"Link": f'<{following}>; rel="next"'} if following else {}
        rows = shape(cut.rows, many=True, context={"request": self.request}).data
        return Response({"results": rows, "next": following}, headers=headers)
