"""The file of past calibrations: a row is a reading; the rows of one calibration share their
``record``.
"""

from __future__ import annotations

from calibration.procedures.models import InputWay
from calibration.records.models import Adjustment, Reading
from plant import parsers
from plant.columns import LONGEST_TEXT, Column
from plant.importing.columns import Layout
from plant.points.columns import RANGE_UNITS
from plant.products.columns import COLDEST, HOTTEST

UP, DOWN = "up", "down"
_celsius = parsers.decimal(4, 1, least=COLDEST, most=HOTTEST)
_name, _day = parsers.name, parsers.day


def _same(example: str) -> tuple[str, ...]:
    """The example of a column that says the same in each of the three rows."""
    return (example,) * 3


# One value for all rows of a record; a later row may leave what is not needed in every row empty.
RECORD_COLUMNS = (
    Column("tag", "tag", _name(40), required=True, is_name=True, examples=_same("LT-101D")),
    Column("serial", "serial", _name(60), required=True, is_name=True, examples=_same("TW11871")),
    Column("day", "done_on", _day, required=True, examples=_same("2026-01-18")),
    Column(
        "performed by", "performed_by", _name(120), required=True, examples=_same("T. Quillane")
    ),
    Column("approved by", "approved_by", _name(120), required=True, examples=_same("S. Fenharrow")),
    Column("approved on", "approved_on", _day, examples=_same("2026-01-20")),
    Column(
        "way",
        "way",
        parsers.word(InputWay.values),
        required=True,
        examples=_same("wetted level by dip"),
    ),
    Column("procedure", "procedure", _name(40)),
    Column("ambient", "ambient_c", _celsius, units=("°C",), examples=_same("14")),
    Column("product", "product_c", _celsius, units=("°C",), examples=_same("41")),
    Column(
        "standards", "standards", parsers.names(40), required=True, examples=_same("MM-01; DT-02")
    ),
    Column("adjusted", "adjusted", parsers.words(Adjustment.Kind.values)),
)
READING_COLUMNS = (
    Column(
        "stage",
        "stage",
        parsers.word(Reading.Stage.values),
        required=True,
        examples=("as it stands", "as found", "as found"),
    ),
    Column("run", "run", parsers.whole(1, 20), examples=_same("1")),
    Column("reading", "sequence", parsers.whole(1, 200), examples=("1", "1", "2")),
    Column("direction", "direction", parsers.word((UP, DOWN)), examples=_same("up")),
    Column(
        "applied",
        "applied",
        parsers.decimal(9, 5),
        units=RANGE_UNITS,
        examples=("10.9", "10.2", "11.6"),
    ),
    Column("level not known because", "no_level_reason", parsers.text(300)),
    Column(
        "observed",
        "observed",
        parsers.decimal(5, 5),
        units=("mA", "V"),
        examples=("12.08", "4.02", "20.07"),
    ),
    Column("indication", "indication", parsers.decimal(9, 5), units=RANGE_UNITS),
)
REMARK_COLUMNS = (
    Column("no as found because", "no_as_found_reason", parsers.text(300)),
    Column("note", "note", parsers.text(LONGEST_TEXT)),
)
CALIBRATIONS = Layout(
    key=("record",),
    repeats=True,
    columns=(
        Column(
            "record",
            "record",
            _name(60),
            required=True,
            is_name=True,
            examples=_same("2025-0412"),
        ),
        *RECORD_COLUMNS,
        *READING_COLUMNS,
        *REMARK_COLUMNS,
    ),
)
OF_RECORD = tuple(column.field for column in (*RECORD_COLUMNS, *REMARK_COLUMNS))
