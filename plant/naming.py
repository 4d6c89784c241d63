"""Names sorted as people read them: LT-2 before LT-10."""

import re


def natural_key(name: str) -> str:
    """``name`` in lower case with every run of digits padded to 8, so that plain text order is the
    natural one.

    >>> sorted(["LT-10", "LT-2", "lt-1B"], key=natural_key)
    ['lt-1B', 'LT-2', 'LT-10']
    """
    return re.sub(r"\d+", lambda digits: digits.group().zfill(8), name.casefold())[:120]
