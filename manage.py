#!/usr/bin/env python
"""Django's commands for Spanbook: ``python manage.py help`` lists them."""

import os
import sys

from django.core.management import execute_from_command_line

from deploy.environment import WrongSetting


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    try:
        execute_from_command_line(sys.argv)
    except WrongSetting as wrong:
        sys.exit(f"Spanbook: {wrong}")


if __name__ == "__main__":
    main()
