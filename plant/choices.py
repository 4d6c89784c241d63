from enum import property as enum_property

from django.db import models


class LowerCaseChoices(models.TextChoices):
    """Choices shown as they are stored, in plain lower case, unless a label is given."""

    @enum_property
    def label(self) -> str:
        made_up = self.name.replace("_", " ").title()
        return str(self.value if self._label_ == made_up else self._label_)
