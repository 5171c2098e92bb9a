#!/usr/bin/env python
"""The command line: `manage.py demo` to look around, Django's own commands for the rest."""

import os
import sys


def main() -> None:
    if sys.argv[1:2] == ["demo"]:
        os.environ.setdefault("MARRAM_MODE", "demo")
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "rentals.settings")
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
