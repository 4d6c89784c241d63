"""Loaders of templates that leave the indentation of lines away: readable in the tree, light in
what is sent.
"""

from __future__ import annotations

import re

from django.template import Origin
from django.template.loaders import app_directories, filesystem

INDENTATION = re.compile(r"\n[ \t]+")


class Lean(filesystem.Loader):
    """Pages begin every line at its first word; a text, such as a mail, stays as it is written.

    Line breaks stay, so that an error names the line of the file.
    """

    def get_contents(self, origin: Origin) -> str:
        contents = super().get_contents(origin)
        return INDENTATION.sub("\n", contents) if origin.name.endswith(".html") else contents


class LeanOfApps(Lean, app_directories.Loader):
    """The same, from the apps' folders of templates."""
