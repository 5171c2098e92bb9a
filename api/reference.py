"""What the API says of itself: its document, its kinds of problem, and that an address leads nowhere."""

from django.http import Http404
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint
from api.problems import TYPES, kinds
from api.schema import document, operation
from api.shapes import Explained


class Document(Endpoint):
    """The OpenAPI document."""

    schema = None

    def get(self, request: Asked) -> Response:
        """Return the document."""
        return Response(document(), content_type="application/vnd.oai.openapi+json")


class ProblemKind(Endpoint):
    """A kind of problem."""

    authentication_classes = ()
    permission_classes = ()

    @operation("get_problem_kind", Explained)
    def get(self, request: Asked, slug: str) -> Response:
        """Explain a kind of problem."""
        if slug not in kinds():
            raise Http404
        status, title, meaning = kinds()[slug]
        said = {"type": f"{TYPES}{slug}/", "status": status, "title": title, "meaning": meaning}
        return self.say(Explained, said)


class Nothing(Endpoint):
    """Any other address."""

    authentication_classes = ()
    permission_classes = ()
    schema = None

    def initial(self, request: Asked, *args: object, **kwargs: object) -> None:  # type: ignore[override]
        """Say that there is nothing, whatever is asked of it."""
        raise Http404
