"""What the functions of this package share about single numbers and arrays."""

from __future__ import annotations

from typing import Any

import numpy as np

# A float or an array of floats: the answer has the shape of the question. It stands for Any because
# Python's types could say "as given" only by writing every signature twice.
Floats = Any


def float_or_array(result: Floats) -> Floats:
    """A float where the answer is a single number, the array otherwise."""
    return float(result) if np.ndim(result) == 0 else result
