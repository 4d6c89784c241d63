"""Every standard that is listed counts by its certificate, or is refused with the reason: every kind
by every way of applying the input, with every form of certificate.
"""

from __future__ import annotations

import datetime as dt
import uuid
from decimal import Decimal

import numpy as np
import pytest

from calibration.policies.models import Policy
from calibration.procedures.models import InputWay
from calibration.records import acts as records
from calibration.records.budgets import uncertainty_of
from calibration.records.judging import Range, judge_stages
from calibration.records.models import Calibration
from calibration.records.refusals import (
    AccuracyNotStated,
    RangeNotStated,
    StandardNotCounted,
    StandardNotUsed,
    UnitOfNoUse,
)
from calibration.records.setup import Setup
from calibration.standards.models import ReferenceStandard, StandardCertificate
from plant.level.tolerance import Limits
from tests.folded import folded
from tests.makers import (
    NOON,
    TODAY,
    a_certificate,
    a_job,
    a_point,
    a_procedure,
    a_reading,
    a_record,
    a_sent_record,
    a_standard,
    a_transmitter,
    an_equipped_point,
)

pytestmark = pytest.mark.django_db
Kind = ReferenceStandard.Kind
UNIT = {
    Kind.MULTIMETER: "mA",
    Kind.LOOP_CALIBRATOR: "V",
    Kind.DECADE_BOX: "pF",
    Kind.DIP_TAPE: "mm",
    Kind.PRESSURE_CALIBRATOR: "kPa",
    Kind.THERMOMETER: "°C",
    Kind.HYDROMETER: "kg/m³",
    Kind.LENGTH: "m",
    Kind.WEIGHTS: "g",
    Kind.RESISTOR: "Ω",
    Kind.BOND_TESTER: "Ω",
    Kind.OTHER: "cm",
}
ALWAYS = set(InputWay)
MEASURED = {
    InputWay.GAUGE_GLASS,
    InputWay.PROBE_RAISED,
    InputWay.TARGET,
    InputWay.FLOAT_MOVED,
}
# By which ways each kind bears on the errors; another one as what its unit makes of it.
USED = {
    Kind.MULTIMETER: ALWAYS,
    Kind.LOOP_CALIBRATOR: ALWAYS,
    Kind.RESISTOR: ALWAYS,
    Kind.THERMOMETER: ALWAYS,
    Kind.DECADE_BOX: {InputWay.CAPACITANCE},
    Kind.DIP_TAPE: MEASURED | {InputWay.DIP},
    Kind.LENGTH: MEASURED,
    Kind.OTHER: MEASURED,
    Kind.PRESSURE_CALIBRATOR: {InputWay.PRESSURE},
    Kind.WEIGHTS: {InputWay.WEIGHTS},
    Kind.HYDROMETER: {InputWay.PRESSURE, InputWay.WEIGHTS, InputWay.GAUGE_GLASS},
    Kind.BOND_TESTER: set(),
}
ABSOLUTE = {"absolute": Decimal("0.02")}
LABORATORY = {"expanded_uncertainty": Decimal("0.02"), "coverage_factor": Decimal(2)}
RANGE = {"range_low": Decimal(0), "range_high": Decimal(100)}
RELATIVE = {"unit": "%"}
# Each form of certificate, and why it is refused; None where it counts.
FORMS = {
    "U and k": (LABORATORY, None),
    "U and k, relative": (LABORATORY | RELATIVE, None),
    "absolute": (ABSOLUTE, None),
    "absolute, relative": (ABSOLUTE | RELATIVE, None),
    "of reading": ({"percent_of_reading": Decimal("0.02")}, None),
    "of range": ({"percent_of_range": Decimal("0.02"), **RANGE}, None),
    "of a range not stated": ({"percent_of_range": Decimal("0.02")}, RangeNotStated),
    "accuracy, and U and k": (ABSOLUTE | LABORATORY, None),
    "deviation, and U and k": (LABORATORY | {"deviation": Decimal("-0.01")}, None),
    "deviation alone": ({"deviation": Decimal("0.01")}, AccuracyNotStated),
    "resolution alone": ({"resolution": Decimal("0.01")}, AccuracyNotStated),
    "accuracy of nothing": ({"absolute": Decimal(0)}, AccuracyNotStated),
    "nothing": ({}, AccuracyNotStated),
    "in another unit": (ABSOLUTE | {"unit": "K/W"}, UnitOfNoUse),
}
READINGS = [a_reading("0.3", "4.000"), a_reading("4.3", "12.000"), a_reading("8.3", "20.000")]


def refusal_of(kind: str, way: str, form: str) -> type[StandardNotCounted] | None:
    """What the record must answer; None where it counts."""
    facts, refusal = FORMS[form]
    if way not in USED[kind]:
        return StandardNotUsed
    unit = facts.get("unit", UNIT[kind])
    if kind == Kind.OTHER and unit != UNIT[kind]:
        return StandardNotUsed  # nothing says what it measures
    if kind == Kind.THERMOMETER and unit == "%":
        return UnitOfNoUse
    if kind == Kind.RESISTOR and refusal is RangeNotStated:
        return None  # one value is its range
    return refusal


def the_standard(kind: str, form: str, worse: int = 1) -> tuple:
    """Not stored; its figures so many times as large."""
    facts = {"unit": UNIT[kind], "number": "H-1", **FORMS[form][0]}
    figures = ("absolute", "expanded_uncertainty", "percent_of_reading", "percent_of_range")
    facts |= {name: facts[name] * worse for name in figures if name in facts}
    standard = ReferenceStandard(name="ST-1", kind=kind)
    return standard, StandardCertificate(standard=standard, **facts)


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("kind", Kind.values)
def test_each_listed_standard_counts_or_is_refused(kind, form):
    point, device = an_equipped_point(), a_transmitter("77")
    for way in InputWay.values:
        pairs = [the_standard(kind, form), the_standard(kind, form, worse=3)]
        good, poor = (Setup(point, device, way, [pair]) for pair in pairs)
        refusal = refusal_of(kind, way, form)
        if refusal is not None:
            with pytest.raises(refusal, match=r"^ST-1: .*\. .*(list of|another) standard"):
                uncertainty_of(good, READINGS)
            continue
        seen, worse = uncertainty_of(good, READINGS), uncertainty_of(poor, READINGS)
        assert set(seen.stems.values()) == {"ST-1"}, way
        assert not seen.beside
        parts = [n for n, c in enumerate(seen.components) if c.name in seen.stems]
        assert np.abs(seen.parts[parts]).max() > 0, way
        assert not seen.assumed & set(seen.stems) - {
            "decade box specification",
            "decade box certificate",
        }
        assert (worse.u >= seen.u).all(), way
        assert (worse.u > seen.u).any(), way
        stems = {row["standard"] for row in seen.budget(2)["components"]}
        assert stems == {"ST-1", ""}


# ---- what a certified deviation does ----
@pytest.mark.parametrize(
    ("kind", "way", "unit", "deviation", "expected"),
    [
        ("multimeter", "wetted level by dip", "mA", "0.016", [-0.1, -0.1, -0.1]),
        ("multimeter", "wetted level by dip", "V", "0.004", [-0.1, -0.1, -0.1]),
        ("multimeter", "wetted level by dip", "%", "0.8", [-0.2, -0.6, -1.0]),
        # 252.5 Ω taken for 250 Ω: 1 % too much of whatever current flows.
        ("resistor", "wetted level by dip", "Ω", "-2.5", [-0.2475, -0.7426, -1.2376]),
        ("dip tape", "wetted level by dip", "mm", "8", [0.1, 0.1, 0.1]),
        ("dip tape", "float moved along its rod", "cm", "0.8", [0.1, 0.1, 0.1]),
        ("laser or steel tape", "target at known distance", "%", "0.1", [0.0038, 0.0538, 0.1038]),
        ("pressure calibrator", "pressure applied", "kPa", "0.0706", [0.1, 0.1, 0.1]),
        ("weights", "weights on hanger", "g", "0.9", [0.1, 0.1, 0.1]),
        ("capacitance decade box", "capacitance substituted", "pF", "1", [0.1, 0.1, 0.1]),
        ("thermometer", "wetted level by dip", "°C", "1", [0.0, 0.0, 0.0]),
    ],
)
def test_an_error_is_corrected_for_what_a_standard_shows_too_much(
    kind, way, unit, deviation, expected
):
    facts = {"unit": unit, "absolute": Decimal("0.001"), "deviation": Decimal(deviation)}
    standard = ReferenceStandard(name="ST-1", kind=kind)
    pair = (standard, StandardCertificate(standard=standard, **facts))
    setup = Setup(an_equipped_point(), a_transmitter("77"), way, [pair])
    stages = {"as it stands": [], "as found": READINGS, "as left": []}
    judged, columns = judge_stages(
        stages, Range(0.3, 8.3, "4-20mA", Limits.of(2.0)), setup, Policy()
    )
    assert judged["as found"].errors == pytest.approx(expected, abs=2e-4)
    corrections = columns["budget"]["corrections"]
    if kind == "thermometer":
        assert corrections == []
    else:
        [one] = corrections
        assert (one["standard"], one["unit"]) == ("ST-1", unit)
        assert one["deviation"] == float(deviation)
        assert one["most"] == pytest.approx(np.abs(expected).max(), abs=2e-4)


def test_a_range_turned_round_turns_the_correction_of_the_input():
    standard = ReferenceStandard(name="ST-1", kind="dip tape")
    facts = {"unit": "mm", "absolute": Decimal("0.001"), "deviation": Decimal(8)}
    pair = (standard, StandardCertificate(standard=standard, **facts))
    point = a_point("LT-8", lower=Decimal("8.3"), upper=Decimal("0.3"))
    setup = Setup(point, a_transmitter("77"), "wetted level by dip", [pair])
    assert uncertainty_of(setup, READINGS).shift == pytest.approx([0.1] * 3)
    shown = [a_reading("4.3", "12", indication=Decimal("4.3"))]
    assert uncertainty_of(setup, shown).shift == pytest.approx([-0.1])


def test_a_meter_beside_an_indication_is_named_as_of_no_part():
    standard, certificate = the_standard("multimeter", "U and k")
    setup = Setup(
        an_equipped_point(), a_transmitter("77"), "wetted level by dip", [(standard, certificate)]
    )
    shown = [a_reading("4.3", "12", indication=Decimal("4.3"))]
    seen = uncertainty_of(setup, shown)
    assert seen.beside == ("ST-1",)
    assert seen.columns(Limits.of(1.0))["budget"]["beside"] == ["ST-1"]


def test_a_record_with_a_standard_of_no_use_is_refused_and_nothing_is_stored(technician):
    tester = a_standard("BT-01", kind="bond or insulation tester")
    a_certificate(tester)
    job = a_job(by=technician)
    sent = a_sent_record(standards=[tester])
    with pytest.raises(StandardNotUsed) as refused:
        records.submit(job, sent, submission=uuid.uuid4(), by=technician, at=NOON)
    assert str(refused.value) == (
        "BT-01: Bond or insulation tester: not used for wetted level by dip. No error of this "
        "record rests on it, and no step of the procedure asks for what it measures: take it off "
        "the list of standards, and write what it showed into the note."
    )
    assert refused.value.field == "standards"
    assert not Calibration.objects.exists()


# ---- what only a step asks for ----
def an_ask(unit: str, kind: str = "number") -> dict:
    return {"name": unit, "label": unit, "kind": kind, "unit": unit, "needed": True}


@pytest.mark.parametrize(
    ("kind", "unit", "asked"),
    [
        ("bond or insulation tester", "ohm", "MΩ"),
        ("hydrometer", "g/cm³", "kg/m³"),
        ("laser or steel tape", "mm", "m"),
        ("another", "s", "s"),
    ],
)
def test_a_standard_that_only_a_step_asks_for_is_named_and_counts_nothing(kind, unit, asked):
    point, device, way = an_equipped_point(), a_transmitter("77"), "wetted level by dip"
    standard = ReferenceStandard(name="ST-1", kind=kind)
    pair = (standard, StandardCertificate(standard=standard, unit=unit, deviation=Decimal(1)))
    version = a_procedure("asking", asks=[an_ask("°C"), an_ask(asked)])
    seen = uncertainty_of(Setup(point, device, way, [pair], version=version), READINGS)
    bare = uncertainty_of(Setup(point, device, way, []), READINGS)
    assert seen.check_tools == ("ST-1",)
    assert (seen.beside, seen.stems, seen.corrections) == ((), {}, ())
    assert seen.u.tolist() == bare.u.tolist()
    assert not seen.shift.any()


@pytest.mark.parametrize(
    ("unit", "ask"), [("Ω", an_ask("pF")), ("Ω", an_ask("Ω", "text")), ("V", an_ask("Ω"))]
)
def test_a_step_that_asks_for_something_else_is_no_reason_to_list_it(unit, ask):
    standard = ReferenceStandard(name="ST-1", kind="bond or insulation tester")
    pair = (standard, StandardCertificate(standard=standard, unit=unit))
    point, version = an_equipped_point(), a_procedure("asking", asks=[ask])
    setup = Setup(point, a_transmitter("77"), "wetted level by dip", [pair], version=version)
    with pytest.raises(StandardNotUsed):
        uncertainty_of(setup, READINGS)


def test_a_step_does_not_excuse_a_standard_on_which_the_errors_rest():
    standard, certificate = the_standard("multimeter", "accuracy of nothing")
    version = a_procedure("asking", asks=[an_ask("mA")])
    pairs = [(standard, certificate)]
    setup = Setup(
        an_equipped_point(), a_transmitter("77"), "wetted level by dip", pairs, version=version
    )
    with pytest.raises(AccuracyNotStated):
        uncertainty_of(setup, READINGS)


def test_a_record_names_the_tester_of_its_bond_and_shows_that_it_counts_nothing(
    sign_in, technician
):
    meter, tester = a_standard("MM-01"), a_standard("BT-01", kind="bond or insulation tester")
    a_certificate(meter)
    a_certificate(tester, unit="V", valid_until=TODAY + dt.timedelta(900))
    a_certificate(tester, unit="Ω")
    version = a_procedure("asking", asks=[an_ask("Ω")])
    record = a_record(by=technician, standards=[meter, tester], procedure_version=version)
    assert set(record.standards_used.values_list("standard__name", "certificate__unit")) == {
        ("MM-01", "mA"),
        ("BT-01", "Ω"),
    }
    assert record.budget["check_tools"] == ["BT-01"]
    page = folded(sign_in(technician).get(record.get_absolute_url()))
    assert "Used for checks of the procedure, with no part in the uncertainty: BT-01." in page


@pytest.mark.parametrize(("signal", "unit"), [("1-5V", "V"), ("4-20mA", "mA")])
def test_of_two_certificates_the_one_that_counts_is_taken(technician, signal, unit):
    """A multimeter with a certificate for each thing it measures."""
    point = an_equipped_point(signal=signal)
    meter = a_standard("MM-01")
    a_certificate(meter, unit=unit, valid_until=TODAY + dt.timedelta(10))
    a_certificate(meter, unit="°C", valid_until=TODAY + dt.timedelta(300))
    observed = Decimal(3) if unit == "V" else Decimal(12)
    readings = [a_reading("4.3", observed, stage=stage) for stage in ("as it stands", "as found")]
    sent = a_sent_record(standards=[meter], readings=readings)
    job = a_job(point, by=technician)
    record = records.submit(job, sent, submission=uuid.uuid4(), by=technician, at=NOON).record
    assert record.standards_used.get().certificate.unit == unit


def test_the_record_s_page_shows_what_its_errors_are_corrected_for(sign_in, technician):
    meter = a_standard("MM-01")
    a_certificate(meter, absolute=Decimal("0.002"), deviation=Decimal("0.016"))
    record = a_record(by=technician, standards=[meter])
    assert record.found_errors == pytest.approx([0.0] * 9, abs=1e-6)
    page = folded(sign_in(technician).get(record.get_absolute_url()))
    said = "Errors are corrected for the certified deviation of MM-01, +0.016\xa0mA: up to 0.100 %"
    assert said in page
    assert 'Meter specification <br><span class="soft small">MM-01</span>' in page
