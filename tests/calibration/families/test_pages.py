"""Families: numbers of all sites, names of one's own; the interval in words, picture and table."""

from __future__ import annotations

import datetime as dt
import json
import math

import numpy as np
import pytest
from django.urls import reverse

from calibration.drift.models import Trend
from calibration.drift.pass_forecasts import pass_forecasts_of
from calibration.families.acts import count_results
from calibration.families.charts import Curve, survival_chart
from calibration.families.models import Family
from calibration.families.rate_charts import Rate, rates_chart
from calibration.families.sentences import forecasts_sentence, months_text, prior_sentence
from calibration.fleet import acts as fleet
from calibration.records.models import Calibration
from plant.transmitters.models import Installation, Transmitter
from tests.calibration.drawing import drawn
from tests.calibration.drift.test_verdicts import a_bent_family, clock
from tests.folded import folded
from tests.makers import a_site, a_tank, an_equipped_point, an_unsaved_record

pytestmark = pytest.mark.django_db


@pytest.fixture
def rods(site):
    return Family.objects.create(
        key="capacitance rod, insulating", principle="capacitance rod", conducts=False, members=9,
        tolerance_percent=1.0, zero_rate=0.12, zero_spread=0.08, zero_mean_sd=0.02,
        zero_weights=[0.05, 0.05, 0.1, 0.2, 0.2, 0.2, 0.1, 0.05, 0.03, 0.02],
    )  # fmt: skip


def recorded_member(family, tag, found, *, tank=None, rate=None):
    """A point found with these errors, one a year, ± 1 % allowed, and adjusted each time."""
    point = an_equipped_point(tag, tank=tank)
    device = Installation.objects.get(point=point).transmitter
    Calibration.objects.bulk_create(
        an_unsaved_record(
            point,
            dt.date(2010 + n, 6, 1),
            device,
            adjusted=True,
            found_largest=error,
            left_largest=0.0,
            found_verdict="pass" if abs(error) <= 1 else "fail",
        )
        for n, error in enumerate(found)
    )
    facts = {} if rate is None else {
        "zero_rate": rate, "zero_rate_low": rate - 0.1, "zero_rate_high": rate + 0.1,
        "span_rate": -rate, "span_rate_low": -rate - 0.1, "span_rate_high": -rate + 0.1,
    }  # fmt: skip
    Trend.objects.create(
        site=point.site, point=point, transmitter=device, family=family, results=len(found), **facts
    )
    return point


def recorded_members(rods, members=5):
    """Five instruments of six results: 25 tell something, 5 of them out at their last visit."""
    for n in range(members):
        recorded_member(rods, f"LT-{n:03d}", [0, 0.2, -0.3, 0.1, 0.4, 1.4], rate=0.05 * n)


# ---- the list ----
def test_the_list_tells_members_and_results_of_the_whole_book_and_which_are_yours(
    rods, sign_in, auditor, outsider
):
    recorded_member(rods, "LT-101", [0, 0.2, 1.4])
    recorded_member(rods, "NT-1", [0], tank=a_tank("N-1", site=a_site("N", "Neelghat")))
    count_results()
    (row,) = sign_in(auditor).get("/families/").context["rows"]
    assert (row.yours, row.family.members, row.family.results, row.percent_in) == (1, 9, 4, 75)
    answer = sign_in(outsider).get("/families/")
    assert answer.context["rows"][0].yours == 1
    assert "LT-101" not in answer.content.decode()


def test_before_the_first_night_the_list_says_how_families_form(site, sign_in, planner):
    page = sign_in(planner).get("/families/").content.decode()
    assert "No family yet" in page
    assert "Install transmitters" in page


def test_a_family_without_results_has_no_share(rods, sign_in, planner):
    (row,) = sign_in(planner).get("/families/").context["rows"]
    assert (row.family.results, row.percent_in) == (0, None)


def test_the_register_leads_to_the_families(site, sign_in, planner):
    assert 'href="/families/"' in sign_in(planner).get(reverse("plant:points")).content.decode()


# ---- one family ----
def test_a_family_tells_the_interval_by_estimate_and_by_limit(rods, sign_in, planner):
    recorded_members(rods)
    answer = sign_in(planner).get(f"/families/{rods.pk}/?target=90")
    said, page = answer.context["reliability"], answer.content.decode()
    assert (said.results, said.failures, said.instruments, said.curve) == (25, 5, 5, "exponential")
    assert said.fit.rate == pytest.approx(-math.log(0.8), rel=0.01)
    words = answer.context["interval"].replace("\xa0", " ")
    assert words.startswith(
        "By the fitted curve 90 % are still in tolerance 5 months after renewal;"
    )
    assert words.endswith(f"with 95 % confidence, {int(said.months_limit)} months after it.")
    assert answer.context["interval"] in page


def test_the_table_beneath_the_picture_holds_its_numbers(rods, sign_in, planner):
    recorded_members(rods)
    (row,) = sign_in(planner).get(f"/families/{rods.pk}/").context["groups"]
    assert (row.months, row.results, row.inside, row.out) == ("12", 25, 20, 5)
    assert row.expected_out == pytest.approx(5, rel=1e-3)
    assert row.percent_low < row.percent_in == 80 < row.percent_high


def test_a_target_that_is_not_offered_is_not_asked_for(rods, sign_in, planner):
    recorded_members(rods)
    for text in ("12", "x", "²", "-5", ""):
        answer = sign_in(planner).get(f"/families/{rods.pk}/", {"target": text})
        assert (answer.status_code, answer.context["target"]) == (200, 95)


def test_only_members_of_ones_own_sites_are_named(rods, sign_in, planner, outsider):
    recorded_members(rods, 3)
    recorded_member(
        rods, "NT-1", [0, 0.5], rate=0.3, tank=a_tank("N-1", site=a_site("N", "Neelghat"))
    )
    page = sign_in(planner).get(f"/families/{rods.pk}/").content.decode()
    assert "LT-001" in page
    assert "NT-1" not in page
    there = sign_in(outsider).get(f"/families/{rods.pk}/")
    assert there.context["reliability"].results == 16
    assert "LT-001" not in there.content.decode()
    assert "NT-1" in there.content.decode()


def test_the_picture_of_rates_is_of_the_end_asked_for(rods, sign_in, planner):
    recorded_members(rods, 3)
    client = sign_in(planner)
    zero, span = (client.get(f"/families/{rods.pk}/?of={end}").context for end in ("zero", "span"))
    drawn = json.dumps(zero["rates"])
    assert '"rate": 0.1,' in drawn
    assert '"rate": -0.1,' in json.dumps(span["rates"])
    # The usual rate and two standard deviations about it, where the family lends.
    wash, _ = (
        row for layer in zero["rates"]["layer"] for row in layer["data"]["values"] if "mean" in row
    )
    assert wash == pytest.approx({"low": -0.04, "high": 0.28, "mean": 0.12})
    assert '"mean"' not in json.dumps(span["rates"])


def test_what_is_expected_of_a_member_is_said_in_words(rods):
    words = prior_sentence(rods, "zero").replace("\xa0", " ")
    assert "the usual rate is +0.12 % of span a year, known to ±0.02 %" in words
    assert "differs by ±0.08 % (one standard deviation)" in words
    assert "About 90 % of them wander" in words
    assert "the rate itself changes" not in words
    assert prior_sentence(rods, "span") == ""


def test_rates_that_change_are_said_apart_from_wandering(rods):
    rods.zero_weights = [0.3, 0, *8 * [0.3 / 8], *4 * [0.1]]
    words = prior_sentence(rods, "zero").replace("\xa0", " ")
    assert "About 30 % of them wander" in words
    assert "In about 40 % of them the rate itself changes." in words


def test_a_family_says_how_its_forecasts_held_once_there_are_enough(rods, sign_in, planner):
    assert forecasts_sentence(rods) == ""
    rods.forecasts, rods.forecasts_held = 40, 37
    rods.save()
    page = sign_in(planner).get(f"/families/{rods.pk}/").content.decode().replace("\xa0", " ")
    assert "Accuracy of its forecasts" in page
    assert "Of 40 as founds at zero and span" in page
    assert "37 lay within the 95 % band (92.5 %)" in page


def test_an_empty_family_says_what_is_needed(rods, sign_in, planner):
    page = folded(sign_in(planner).get(f"/families/{rods.pk}/"))
    assert "Too few results" in page
    assert "20 results" in page
    assert "No member of this family is at a site that you can see." in page


def test_nothing_out_shows_a_limit_and_no_line(rods, sign_in, planner):
    recorded_member(rods, "LT-101", [0, 0.1, 0.2], rate=0.1)
    answer = sign_in(planner).get(f"/families/{rods.pk}/")
    assert answer.context["reliability"].curve == "limit"
    assert "only a limit can be given" in answer.context["interval"]
    assert '"fit"' not in json.dumps(answer.context["survival"])


def test_a_curve_drawn_on_beyond_experience_says_so(rods, sign_in, planner):
    for n in range(5):
        recorded_member(
            rods, f"LT-{n:03d}", [0, 0.2, -0.3, 0.1, 0.4, 1.4 if n == 0 else 0.1], rate=0.1
        )
    interval = sign_in(planner).get(f"/families/{rods.pk}/?target=90").context["interval"]
    assert "extrapolated" in interval


def test_sites_that_differ_are_told_apart_without_a_name(rods, sign_in, planner):
    elsewhere = a_tank("N-1", site=a_site("N", "Neelghat"))
    for n in range(8):
        recorded_member(rods, f"LT-{n:03d}", [0, 0.2, -0.3, 0.1, 0.1, 0.3])
        recorded_member(rods, f"NT-{n:03d}", [0, 1.2, -0.3, 1.1, 1.4, 1.3], tank=elsewhere)
    answer = sign_in(planner).get(f"/families/{rods.pk}/")
    assert any(text.startswith("The sites differ in how often") for text in answer.context["curve"])
    assert "Neelghat" not in answer.content.decode()


def test_makers_are_compared_only_where_they_are_known(rods, sign_in, planner):
    recorded_members(rods)
    client, address = sign_in(planner), f"/families/{rods.pk}/"
    Transmitter.objects.filter(pk__in=Transmitter.objects.order_by("pk")[:2]).update(maker="")
    assert not any("makers" in text for text in client.get(address).context["curve"])
    Transmitter.objects.filter(pk__in=Transmitter.objects.order_by("pk")[:2]).update(maker="Heron")
    assert any(text.startswith("The makers") for text in client.get(address).context["curve"])


def test_both_pages_ask_a_fixed_number_of_times(rods, sign_in, planner, django_assert_num_queries):
    recorded_members(rods)
    client = sign_in(planner)
    with django_assert_num_queries(5):
        client.get("/families/")
    with django_assert_num_queries(10):
        client.get(f"/families/{rods.pk}/")


@pytest.mark.parametrize(
    ("months", "text"),
    [
        (0.4, "less than a month"),
        (1.9, "1 month"),
        (11.99, "11 months"),
        (500, "more than 120 months"),
    ],
)
def test_an_interval_is_never_said_too_long(months, text):
    assert months_text(months).replace("\xa0", " ") == text


# ---- pictures ----
def test_pictures_take_their_colours_from_the_look_and_print():
    line = np.linspace(1, 0.8, 5).tolist()
    curve = Curve([0, 6, 12, 18, 24], line, [v - 0.05 for v in line], [v + 0.0 for v in line])
    picture = survival_chart(
        curve, until=24, target=0.95, estimate=6.0, limit=4.0, found_in=[6, 6.01], found_out=[12]
    )
    rates = rates_chart([Rate("LT-101", 0.1, 0.0, 0.2)], mean=0.1, spread=0.05, tolerance=0.5)
    for spec in (picture, rates):
        assert "#" not in json.dumps(spec)
        assert drawn(spec).startswith("<svg")
    assert '{"at": 6.0, "found": "2 in tolerance"}' in json.dumps(picture)


def test_a_family_seldom_out_still_fills_its_picture():
    drawn = survival_chart(None, counted=[(0, 1), (12, 0.97)], until=24, target=0.95)
    (domain,) = {tuple(layer["encoding"]["y"]["scale"]["domain"]) for layer in drawn["layer"]}
    assert domain == (0.8, 1)


def key(spec):
    return [mark["name"] for mark in spec["usermeta"]["key"]]


def test_the_key_of_the_curve_names_what_is_drawn_and_nothing_else():
    bare = survival_chart(None, counted=[(0, 1), (12, 0.97)], until=24, target=0.95, found_in=[6])
    assert key(bare) == ["counted, no curve assumed", "in tolerance"]
    curve = Curve([0, 24], [1.0, 0.9], [0.9, 0.8], [1.0, 0.95], "its 90 % band")
    whole = survival_chart(curve, until=24, target=0.95, estimate=6.0, limit=4.0, found_out=[12])
    assert key(whole) == [
        "fitted curve",
        "its 90 % band",
        "interval by estimate",
        "interval by limit",
        "out of tolerance",
    ]


def test_the_target_bears_its_value():
    spec = survival_chart(None, counted=[(0, 1), (12, 0.97)], until=24, target=0.95)
    texts = [layer for layer in spec["layer"] if layer["mark"]["type"] == "text"]
    assert {row["text"] for layer in texts for row in layer["data"]["values"]} == {"target 95\xa0%"}


def test_the_key_of_the_rates_names_the_family_s_own_only_where_it_is_known():
    rates = [Rate("LT-101", 0.1, 0.0, 0.2)]
    assert key(rates_chart(rates, mean=None, spread=None, tolerance=0.5)) == [
        "rate of a member",
        "its 95 % interval",
    ]
    assert key(rates_chart(rates, mean=0.1, spread=0.05, tolerance=0.5))[2:] == [
        "usual rate of the family",
        "two standard deviations about it",
    ]


def test_the_page_says_what_was_forecast_and_what_passed(sign_in, planner):
    a_bent_family(0.2, drift=0.1, years=6)
    fleet.run(clock=clock, nightly=True)
    shown = Family.objects.get(trends__point__tag="LT-100")
    page = folded(sign_in(planner).get(shown.get_absolute_url()))
    assert "Chances forecast, and what passed" in page
    known = pass_forecasts_of(Trend.objects.filter(family=shown).values_list("point", flat=True))
    assert len(known.chance) >= 20
    assert f'<th scope="row">All</th><td class="num">{len(known.chance)}</td>' in page
