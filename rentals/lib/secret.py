"""Secrets: a key kept in the data folder, tokens for secret addresses, and hashing that fits a small host."""

import hashlib
import secrets
from contextlib import suppress
from pathlib import Path

from django.contrib.auth.hashers import Argon2PasswordHasher


class ModestArgon2(Argon2PasswordHasher):
    """Argon2id at 46 MiB and one pass, a floor of the OWASP password storage sheet.

    Django's default takes 100 MiB for each sign-in, which five colleagues at eight in the morning would feel.
    """

    time_cost = 1
    memory_cost = 46 * 1024
    parallelism = 1


def kept_secret(path: Path) -> str:
    """Return the secret in `path`, made on first use; two first starts at once agree on one."""
    if not path.exists():
        draft = path.with_name(f"{path.name}.{secrets.token_hex(8)}")
        draft.touch(mode=0o600)
        draft.write_text(secrets.token_urlsafe(64))
        with suppress(FileExistsError):
            path.hardlink_to(draft)
        draft.unlink()
    return path.read_text()


TOKEN_BYTES = 32
"""256 random bits: an address that holds them cannot be guessed."""


def new_token() -> str:
    """Return a fresh token for a secret address. It is shown once; rows keep its digest."""
    return secrets.token_urlsafe(TOKEN_BYTES)


def digest(token: str) -> str:
    """Return what a row keeps of a token, 64 hex digits: who reads the row cannot make the address.

    One round of SHA-256 is enough for 256 random bits; slow hashes are for what people make up.
    """
    return hashlib.sha256(token.encode()).hexdigest()
