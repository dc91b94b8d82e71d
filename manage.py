#!/usr/bin/env python
"""The one command of the project: start, gauge, rejudge, and Django's own."""

import os
import sys


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "inventory.settings")
    try:
        from django.core.management import execute_from_command_line
    except ImportError:
        sys.stderr.write(
            "Django is not installed in this Python. Use the one of the virtual environment, "
            ".venv/bin/python or .venv\\Scripts\\python; the README says how to make it.\n"
        )
        sys.exit(2)  # not 1, which `gauge` gives for a vehicle that is outside
    from django.core.exceptions import ImproperlyConfigured
    from django.db import OperationalError, ProgrammingError, connection

    try:
        execute_from_command_line(sys.argv)
    except ImproperlyConfigured as problem:
        sys.stderr.write(f"{problem}\n")
        sys.exit(2)
    except (OperationalError, ProgrammingError):
        from inventory.ledger.record import why_not_ready

        connection.close()  # as it may stand in the middle of what failed
        words = why_not_ready()
        if words is None:
            raise
        sys.stderr.write(f"{words}\n")
        sys.exit(2)


if __name__ == "__main__":
    main()
