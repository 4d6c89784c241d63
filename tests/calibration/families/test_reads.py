"""Families: which points belong, what pass and fail say, how long they stay in tolerance."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pytest

from calibration.drift.results import points_of
from calibration.families import reads as families
from calibration.families.acts import count_results, ensure_families
from calibration.families.models import Family
from calibration.families.reads import results_of
from calibration.families.reliability import reliability_of, what_a_weibull_needs
from calibration.jobs.models import Job
from plant.transmitters.models import Installation, Principle
from tests.makers import (
    NOON,
    a_product,
    a_site,
    a_tank,
    a_transmitter,
    an_equipped_point,
    an_installation,
    an_unsaved_record,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def rods(site):
    return Family.objects.create(
        key="capacitance rod, insulating", principle="capacitance rod", conducts=False
    )


def visit(point, year, found, *, left=None, device=None, month=6, **more):
    """An approved record with this largest error; adjusted where ``left`` is given."""
    device = device or Installation.objects.get(point=point, removed_on=None).transmitter
    judged = found is not None and abs(found) <= 1
    facts = {
        "adjusted": left is not None,
        "found_largest": found,
        "left_largest": found if left is None else left,
        "found_verdict": "" if found is None else "pass" if judged else "fail",
        "no_as_found_reason": "new" if found is None else "",
        **more,
    }
    record = an_unsaved_record(point, dt.date(year, month, 1), device, **facts)
    record.save()
    return record


def spans(family):
    seen = results_of(family).seen
    rows = zip(seen.start, seen.end, seen.out, strict=True)
    return [(round(start), round(end), bool(out)) for start, end, out in rows]


# ---- which family ----
LIQUIDS = {True: "lye", False: "oil", None: ""}


@pytest.mark.parametrize("principle", Principle.values)
@pytest.mark.parametrize("conducts", LIQUIDS)
def test_the_liquid_matters_for_capacitance_probes_alone(site, principle, conducts):
    liquid = None if conducts is None else a_product(name=LIQUIDS[conducts], conducts=conducts)
    point = an_equipped_point("LT-101", tank=a_tank("T-201", product=liquid))
    Installation.objects.filter(point=point).update(removed_on=dt.date(2024, 1, 1))
    an_installation(point, a_transmitter(principle=principle), dt.date(2024, 1, 1))
    ensure_families()
    matters = principle in ("capacitance rod", "capacitance rope") and conducts is not None
    word = {True: ", conducting", False: ", insulating"}[bool(conducts)] if matters else ""
    made = Family.objects.get()
    assert (made.key, made.conducts) == (f"{principle}{word}", conducts if matters else None)
    assert points_of([point.pk])[0].family_id == made.pk


def test_families_are_made_once_for_what_is_in_service(site):
    an_equipped_point("LT-101")
    a_transmitter(principle="ultrasonic")
    assert ensure_families() == 1
    assert ensure_families() == 0
    made = Family.objects.get()
    assert (made.key, made.principle, made.conducts) == (
        "capacitance rod, insulating", "capacitance rod", False,
    )  # fmt: skip


# ---- what was found ----
def test_adjustment_renews_and_a_pass_alone_does_not(site, rods):
    point = an_equipped_point()
    for year, found, left in (
        (2018, 0.2, 0.0),
        (2019, 0.4, None),
        (2021, -1.4, 0.1),
        (2022, 0.3, None),
    ):
        visit(point, year, found, left=left)
    assert spans(rods) == [(0, 1, False), (1, 3, True), (0, 1, False)]


def test_an_error_below_minus_the_tolerance_is_out(site, rods):
    point = an_equipped_point()
    visit(point, 2020, 0.0)
    visit(point, 2021, -1.2)
    assert spans(rods) == [(0, 1, True)]


def test_adjusted_but_left_out_of_tolerance_does_not_renew(site, rods):
    point = an_equipped_point()
    for year, found, left in ((2018, 0.1, None), (2019, 1.8, 1.3), (2020, 0.5, None)):
        visit(point, year, found, left=left)
    assert spans(rods) == [(0, 1, True)]


def test_a_result_without_as_found_only_starts_the_clock(site, rods):
    point = an_equipped_point()
    visit(point, 2018, 0.1)
    visit(point, 2020, None, left=0.0)
    visit(point, 2021, 0.4)
    assert spans(rods) == [(0, 1, False)]


def test_found_dead_is_found_out_though_it_has_no_error(site, rods):
    point = an_equipped_point()
    visit(point, 2018, 0.1)
    visit(point, 2020, None, found_verdict="fail", left_verdict="fail", shows_failure=True)
    visit(point, 2021, 0.4)
    assert spans(rods) == [(0, 2, True)]


def test_after_a_repair_the_clock_begins_again(site, rods, technician):
    point = an_equipped_point()
    visit(point, 2018, 0.1)
    job = Job.objects.create(site=point.site, point=point, why="after repair", due_on=point.due_on)
    visit(point, 2020, 0.2, job=job)
    visit(point, 2021, 0.4)
    assert spans(rods) == [(0, 1, False)]


def test_a_swap_begins_a_new_instrument(site, rods):
    point = an_equipped_point()
    old, new = Installation.objects.get(point=point).transmitter, a_transmitter()
    visit(point, 2018, 0.1, device=old)
    visit(point, 2019, 0.2, device=old)
    visit(point, 2020, 0.0, device=new)
    visit(point, 2022, 1.5, device=new)
    assert spans(rods) == [(0, 1, False), (0, 2, True)]
    assert results_of(rods).seen.instruments == 2


def test_two_records_of_one_day_are_one_visit(site, rods):
    point = an_equipped_point()
    visit(point, 2018, 0.1)
    visit(point, 2019, 1.4)
    visit(point, 2019, 0.3, left=0.0)
    visit(point, 2021, 0.2)
    assert spans(rods) == [(0, 1, True), (0, 2, False)]


def test_only_what_stands_counts(site, rods, approver):
    point = an_equipped_point()
    visit(point, 2018, 0.1)
    first = visit(point, 2019, 1.4)
    visit(point, 2019, 0.9, amends=first, amend_reason="wrong range")
    visit(point, 2020, 1.5, state="returned", approved_by_name="", approved_at=None,
            returned_by=approver, returned_at=NOON, return_reason="wrong tank")  # fmt: skip
    assert spans(rods) == [(0, 1, False)]


def test_a_result_belongs_to_the_liquid_it_was_taken_in(site, rods):
    a_product(name="lye", conducts=True)
    point = an_equipped_point()
    visit(point, 2016, 0.0, product_name="lye")
    visit(point, 2017, 1.5, product_name="lye")
    visit(point, 2018, 0.1, product_name="palm olein")
    visit(point, 2019, 0.2)
    assert spans(rods) == [(0, 1, False)]
    lyes = Family.objects.create(
        key="capacitance rod, conducting", principle="capacitance rod", conducts=True
    )
    none = Family.objects.create(key="radar", principle="radar", results=7)
    count_results()
    kept = [Family.objects.get(pk=family.pk) for family in (rods, lyes, none)]
    assert [(family.results, family.found_in) for family in kept] == [(2, 2), (2, 1), (0, 0)]


def test_of_a_large_family_the_same_part_stands_for_all(site, rods, monkeypatch):
    visited_fleet(np.random.default_rng(2), 8, 3)
    whole = results_of(rods).seen
    monkeypatch.setattr(families, "MOST", 4)
    rods.members = 8
    part, again = results_of(rods).seen, results_of(rods).seen
    assert 0 < part.instruments < whole.instruments
    assert part.end.tolist() == again.end.tolist()


def test_numbers_come_from_all_sites_and_each_instrument_knows_its_own(site, rods):
    elsewhere = a_site("N", "Neelghat", "Asia/Kolkata")
    far = an_equipped_point("NT-1", tank=a_tank("N-1", site=elsewhere))
    near = an_equipped_point("LT-101")
    for point in (near, far):
        visit(point, 2018, 0.1)
        visit(point, 2019, 0.2)
    found = results_of(rods)
    assert sorted(found.site.tolist()) == sorted([site.pk, elsewhere.pk])
    assert found.records == 4


# ---- how long it stays in tolerance ----
def visited_fleet(rng, instruments, years, scale=6.0, shape=1.0):
    """Instruments adjusted at each yearly or two-yearly visit; out as the law says."""
    tank = a_tank()
    for n in range(instruments):
        point = an_equipped_point(f"LT-{n:03d}", tank=tank)
        visit(point, 2001, 0.0)
        year = 2001
        for _ in range(years):
            gap = int(rng.choice([1, 2]))
            year += gap
            out = rng.random() < -math.expm1(-((gap / scale) ** shape))
            visit(point, year, 1.5 if out else 0.3, left=0.0)


def test_nothing_calibrated_twice_is_said_so(site, rods):
    visit(an_equipped_point(), 2020, 0.1)
    said = reliability_of(rods)
    assert (said.curve, said.months, said.months_limit) == ("", None, None)
    assert "calibrated twice" in said.refusal


def test_nothing_out_gives_only_a_limit(site, rods):
    visited_fleet(np.random.default_rng(1), 5, 4, scale=1e9)
    said = reliability_of(rods)
    assert (said.curve, said.results, said.failures, said.months) == ("limit", 20, 0, None)
    years = sum(results_of(rods).seen.end)
    assert said.months_limit == pytest.approx(12 * -math.log(0.95) * years / (2 * -math.log(0.05)))
    assert "only a limit" in said.refusal


def test_all_out_gives_nothing_but_a_warning(site, rods):
    visited_fleet(np.random.default_rng(1), 3, 3, scale=1e-3)
    said = reliability_of(rods)
    assert (said.curve, said.months_limit) == ("", None)
    assert "shorten the interval" in said.refusal


def test_enough_results_give_a_curve_and_a_shorter_interval_by_its_limit(site, rods):
    visited_fleet(np.random.default_rng(2), 8, 5)
    said = reliability_of(rods, 0.9, 0.95)
    assert (said.curve, said.results, said.refusal) == ("exponential", 40, "")
    assert said.months == pytest.approx(12 * -math.log(0.9) / said.fit.rate)
    assert 0 < said.months_limit < said.months
    assert "whether the rate rises" in what_a_weibull_needs(said)


def test_many_results_of_two_lengths_give_a_weibull_curve(site, rods):
    visited_fleet(np.random.default_rng(3), 20, 5, scale=2.2, shape=3.0)
    said = reliability_of(rods)
    assert said.curve == "weibull"
    assert 1.5 < said.fit.shape < 6
    assert said.longest_months == pytest.approx(24, abs=0.2)
    assert what_a_weibull_needs(said) == ""


def test_results_are_read_in_one_query(site, rods, django_assert_num_queries):
    visited_fleet(np.random.default_rng(2), 3, 3)
    with django_assert_num_queries(1):
        reliability_of(rods)
