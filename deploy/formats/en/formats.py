"""How dates are written and read: "12 May 2026", whatever the browser's language."""

DATE_FORMAT = "j M Y"
SHORT_DATE_FORMAT = "j M Y"
DATETIME_FORMAT = "j M Y H:i"
SHORT_DATETIME_FORMAT = "j M Y H:i"
TIME_FORMAT = "H:i"
MONTH_DAY_FORMAT = "j M"
YEAR_MONTH_FORMAT = "F Y"
FIRST_DAY_OF_WEEK = 1
DECIMAL_SEPARATOR = "."
THOUSAND_SEPARATOR = "\N{NARROW NO-BREAK SPACE}"

# The first one is what a date field shows; 2026-05-12 is what browsers' date inputs send.
DATE_INPUT_FORMATS = ["%Y-%m-%d", "%d/%m/%Y", "%d %b %Y", "%d %B %Y"]
DATETIME_INPUT_FORMATS = [
    "%Y-%m-%dT%H:%M",
    "%Y-%m-%dT%H:%M:%S",
    "%Y-%m-%d %H:%M",
    "%Y-%m-%d %H:%M:%S",
]
