"""A number as people type it: digits and a decimal point, nothing clever."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from plant.cells import digits

MINUS = "\u2212"
NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)")
DECIMAL_COMMA = re.compile(r"[+-]?[0-9]*,[0-9]+")


def plain(number: Decimal | None) -> str:
    """A stored number as a person would type it; "" for none."""
    return "" if number is None else digits(number)


class DigitsField(forms.Field):
    """A Decimal with its digits as typed. Refuses a decimal comma, exponents, infinity and words,
    each with its reason.

    Fits a column of ``max_digits`` and ``decimal_places``; ``unit`` stands beside the control.
    """

    def __init__(
        self, *, max_digits: int, decimal_places: int, unit: str = "", **more: Any
    ) -> None:
        attrs = {"inputmode": "decimal", "autocomplete": "off"}
        more["widget"] = forms.TextInput(attrs | ({"data-unit": unit} if unit else {}))
        super().__init__(**more)
        self.whole_digits, self.decimal_places = max_digits - decimal_places, decimal_places

    def prepare_value(self, value: Any) -> Any:
        return plain(value) if isinstance(value, Decimal) else value

    def to_python(self, value: Any) -> Decimal | None:
        text = str("" if value is None else value).strip().replace(MINUS, "-")
        if not text:
            return None
        if DECIMAL_COMMA.fullmatch(text):
            raise ValidationError(f"Write {text.replace(',', '.')} with a point.")
        if len(text) > 40 or not NUMBER.fullmatch(text):
            raise ValidationError("This is not a plain number; write it in digits, such as 11.934.")
        return self._fitting(Decimal(text))

    def _fitting(self, number: Decimal) -> Decimal:
        exponent = number.as_tuple().exponent
        if isinstance(exponent, int) and -exponent > self.decimal_places:
            raise ValidationError(f"Give at most {self.decimal_places} digits after the point.")
        if abs(number) >= Decimal(10) ** self.whole_digits:
            raise ValidationError("This number is too large to be true; check it.")
        return number

    def has_changed(self, initial: Any, data: Any) -> bool:
        return self.prepare_value(initial) != data
