"""Chances forecast walk forward: each is what a page would have said before that result came."""

from __future__ import annotations

import uuid

import numpy as np
import pytest

from calibration.drift import pass_forecasts
from calibration.drift.pass_forecasts import PassForecasts, bins_of, pass_forecasts_of
from calibration.drift.reads import trend_of
from calibration.records.models import Calibration
from tests.calibration.drift.test_verdicts import a_bent_point
from tests.calibration.drift.test_visits import a_question
from tests.makers import an_equipped_point

pytestmark = pytest.mark.django_db


def test_each_chance_is_the_one_of_the_day_before_that_result_came(site):
    whole = a_bent_point("LT-1", 0.2, drift=0.1, years=7)
    records = list(Calibration.objects.filter(point=whole).order_by("done_on"))
    said = []
    for n in range(2, len(records)):
        cut = an_equipped_point(f"LT-1{n}")
        device = cut.installations.get().transmitter
        for record in records[:n]:
            copy_to(Calibration.objects.get(pk=record.pk), cut, device)
        said.append(trend_of(cut).chance(records[n].done_on))
    known = [chance for chance in said if chance is not None]
    assert len(known) >= 4
    assert pass_forecasts_of([whole.pk]).chance == pytest.approx(known, abs=1e-6)


def copy_to(record: Calibration, point, device) -> None:
    """The same results, of another point."""
    record.pk, record._state.adding = None, True
    record.point, record.transmitter, record.job = point, device, None
    record.submission = uuid.uuid4()
    record.save()


def test_a_result_passes_only_by_its_verdict(site):
    point = a_bent_point("LT-1", 0.2, drift=0.1)
    last = Calibration.objects.filter(point=point).latest("done_on")
    copy = an_equipped_point("LT-2")
    device = copy.installations.get().transmitter
    for record in Calibration.objects.filter(point=point):
        if record.pk == last.pk:
            record.found_verdict = "inconclusive"
        copy_to(record, copy, device)
    assert pass_forecasts_of([point.pk]).passed.tolist() == [True, True]
    assert pass_forecasts_of([copy.pk]).passed.tolist() == [True, False]


def test_without_two_results_before_it_nothing_is_forecast(site):
    assert len(pass_forecasts_of([an_equipped_point("LT-1").pk]).chance) == 0
    assert len(pass_forecasts_of([]).chance) == 0


def test_a_new_level_is_not_forecast(site):
    point = a_bent_point("LT-1", 0.2, drift=0.1)
    assert len(pass_forecasts_of([point.pk]).chance) == 2
    a_question(Calibration.objects.filter(point=point).latest("done_on"), kind="step")
    assert len(pass_forecasts_of([point.pk]).chance) == 1


def test_of_many_results_the_latest_of_each_point_are_forecast(site, monkeypatch):
    points = [a_bent_point("LT-1", 0.2, drift=0.1), a_bent_point("LT-2", 0.4, drift=0.2)]
    last = [pass_forecasts_of([point.pk]).chance[-1] for point in points]
    monkeypatch.setattr(pass_forecasts, "MOST", 2)
    assert pass_forecasts_of([point.pk for point in points]).chance == pytest.approx(last)


def test_bins_hold_every_result_once_with_its_mean_and_share():
    chance = np.array([0.0, 0.5, 0.79, 0.97, 0.979, 0.98, 1.0])
    passed = np.array([False, True, True, True, False, True, True])
    bins = bins_of(PassForecasts(chance, passed))
    assert [(b.low, b.high, b.results) for b in bins] == [
        (0.0, 0.5, 1),
        (0.5, 0.8, 2),
        (0.95, 0.98, 2),
        (0.98, 1.0, 2),
    ]
    assert bins[2].passed == 0.5
    assert bins[3].chance == pytest.approx(0.99)
