#!/usr/bin/env python
"""The one command of the project: start, gauge, rejudge, and Django's own."""

import os
import sys


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "inventory.settings")
    try:
        from django.core.management import execute_from_command_line
    except ImportError:
        sys.exit(
            "Django is not installed in this Python. Activate the virtual environment, or make "
            "one and run: python -m pip install -r requirements.txt"
        )
    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
