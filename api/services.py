"""The API's own rows: tokens given to whoever signed in, and taken back."""

from datetime import datetime

from knox.models import AuthToken

from rentals.people.models import User


def give_token(user: User) -> tuple[str, datetime]:
    """Give a user a token; return it, which nobody can later, and when it runs out."""
    kept, token = AuthToken.objects.create(user)
    return token, kept.expiry


def take_token(token: AuthToken) -> None:
    """Take a token back."""
    token.delete()
