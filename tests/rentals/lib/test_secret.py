"""The kept secret: made once, readable by its owner alone, the same for all who start at once."""

import stat
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Barrier

from django.contrib.auth.hashers import check_password, identify_hasher, make_password

from rentals.lib.secret import digest, kept_secret, new_token


def test_it_is_made_on_first_use_and_kept(tmp_path: Path) -> None:
    path = tmp_path / "secret-key"

    first = kept_secret(path)

    assert len(first) >= 50
    assert kept_secret(path) == first == path.read_text()


def test_only_its_owner_may_read_it(tmp_path: Path) -> None:
    path = tmp_path / "secret-key"
    kept_secret(path)

    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_it_leaves_no_draft_behind(tmp_path: Path) -> None:
    kept_secret(tmp_path / "secret-key")

    assert [path.name for path in tmp_path.iterdir()] == ["secret-key"]


def test_two_data_folders_have_two_secrets(tmp_path: Path) -> None:
    assert kept_secret(tmp_path / "one") != kept_secret(tmp_path / "other")


def test_starts_at_once_agree_on_one(tmp_path: Path) -> None:
    path, starts = tmp_path / "secret-key", 16
    at_once = Barrier(starts)

    def start(_number: int) -> str:
        at_once.wait(10)
        return kept_secret(path)

    with ThreadPoolExecutor(starts) as pool:
        found = set(pool.map(start, range(starts)))

    assert found == {path.read_text()}


def test_passwords_are_hashed_with_argon2id_at_a_published_floor() -> None:
    """OWASP Password Storage Cheat Sheet: Argon2id with m=46 MiB, t=1, p=1 is one of the minimum settings."""
    encoded = make_password("a long enough password")

    assert identify_hasher(encoded).algorithm == "argon2"
    assert encoded.startswith("argon2$argon2id$v=19$m=47104,t=1,p=1$")
    assert check_password("a long enough password", encoded)
    assert not check_password("another password", encoded)


def test_a_token_holds_more_bits_than_anybody_can_try() -> None:
    """At least 128 bits are asked for; base64url carries six a character (RFC 4648, 5)."""
    tokens = {new_token() for _ in range(1000)}

    assert len(tokens) == 1000
    assert min(len(token) for token in tokens) * 6 >= 256


def test_a_token_s_digest_is_its_sha_256() -> None:
    """NIST FIPS 180-2, appendix B.1: the message abc."""
    assert digest("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
