"""`manage.py retain`: let go of what was kept long enough, or only count it."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from rentals.privacy.mapping import BY_KEY
from rentals.privacy.tasks import let_go


class Command(BaseCommand):
    """Let go by the table of what is kept how long; the worker does the same every night."""

    help = "Let go of what was kept long enough."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take whether only to count."""
        parser.add_argument("--dry-run", action="store_true", help="count, and change nothing")

    def handle(self, *args: Any, **options: Any) -> None:
        """Let go, and say of how many."""
        for key, count in let_go(dry=options["dry_run"]).items():
            keep = BY_KEY[key]
            self.stdout.write(f"{count:6d}  {keep.what}: {keep.then}")
