"""Families of like transmitters: the list; one family, how long it stays in tolerance and how its
members drift.
"""

from __future__ import annotations

from typing import Any, NamedTuple, Self

import numpy as np
from django.db.models import Count, F, Q, QuerySet
from django.db.models.functions import Abs, Greatest, Mod
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from calibration.drift.models import Trend
from calibration.drift.pass_forecasts import bins_of, pass_forecasts_of
from calibration.families import reads as families
from calibration.families import sentences as words
from calibration.families.charts import Curve, survival_chart
from calibration.families.keys import PARTS, STRIDE
from calibration.families.models import Family
from calibration.families.rate_charts import Rate, rates_chart
from calibration.families.reliability import MONTHS_PER_YEAR, Reliability, reliability
from calibration.metrology.fit_checks import TimeGroup, time_groups
from calibration.metrology.survival import coarsen, nonparametric_curve
from calibration.metrology.visit_results import Results
from calibration.pages import require_sight
from plant.pages.requests import SignedRequest
from plant.people.models import Person

TARGETS = (80, 90, 95, 99)
CONFIDENCE = 0.95
SHOWN = 40  # members; the fastest first
POINTS_OF_CURVE = 80
FORECAST_MEMBERS = 200  # enough to judge the chances by, and quick
FINE = 300  # found out; beyond that the counted curve is drawn by the week, for speed
FEWEST_REACHING = 5  # the counted curve is drawn while so many results reach so far


class ListRow(NamedTuple):
    family: Family
    yours: int
    percent_in: float | None

    @classmethod
    def of(cls, family: Family, yours: int) -> Self:
        share = 100 * family.found_in / family.results if family.results else None
        return cls(family, yours, share)


class GroupRow(NamedTuple):
    """Results at about one time since renewal, shares in %."""

    months: str
    results: int
    inside: int
    out: int
    expected_out: float | None
    percent_in: float
    percent_low: float
    percent_high: float


@require_safe
def family_list(request: SignedRequest) -> HttpResponse:
    """All families: numbers of all sites, and how many members the person may see."""
    require_sight(request.user)
    yours = dict(
        Trend.objects.seen_by(request.user).values_list("family").annotate(n=Count("pk")).order_by()
    )
    rows = [ListRow.of(row, yours.get(row.pk, 0)) for row in Family.objects.all()]
    return render(request, "calibration/families/family_list.html", {"rows": rows})


@require_safe
def family(request: SignedRequest, pk: int) -> HttpResponse:
    """One family: its curve against pass and fail, the interval for a target, the rate of its
    members.
    """
    require_sight(request.user)
    shown = get_object_or_404(Family, pk=pk)
    target = _target_of(request.GET.get("target", ""))
    end = "span" if request.GET.get("of") == "span" else "zero"
    priors = (words.prior_sentence(shown, each) for each in ("zero", "span"))
    context = {
        "family": shown,
        "sampled": families.MOST if shown.members > families.MOST else 0,
        "target": target,
        "targets": TARGETS,
        "end": end,
        "prior_rates": [text for text in priors if text],
        "held": words.forecasts_sentence(shown),
        **_pass_forecasts(shown),
        **_curve_context(shown, target),
        **_members(request.user, shown, end),
    }
    return render(request, "calibration/families/family.html", context)


def _pass_forecasts(shown: Family) -> dict[str, Any]:
    """Chances forecast and verdicts that came, where there are enough; of a large family always the
    same members.
    """
    members = Trend.objects.filter(family=shown).annotate(
        place=Mod(F("transmitter") * STRIDE, PARTS)
    )
    ids = members.order_by("place", "pk").values_list("point", flat=True)[:FORECAST_MEMBERS]
    forecasts = pass_forecasts_of(ids)
    if len(forecasts.chance) < words.FEWEST_FORECASTS:
        return {}
    return {
        "bins": bins_of(forecasts),
        "forecasts": len(forecasts.chance),
        "forecast_members": FORECAST_MEMBERS,
        "mean_chance": forecasts.chance.mean(),
        "mean_passed": forecasts.passed.mean(),
    }


def _target_of(text: str) -> int:
    return next((target for target in TARGETS if str(target) == text), 95)


def _curve_context(shown: Family, target: int) -> dict[str, Any]:
    results = families.results_of(shown)
    seen = results.seen
    fit = reliability(seen, target / 100, CONFIDENCE)
    sentences = (
        words.curve_sentence(fit),
        words.effect_sentence(fit),
        words.fit_sentence(results, fit),
        *words.sameness_sentences(results),
    )
    return {
        "results": results,
        "reliability": fit,
        "survival": None if seen is None else picture_of(seen, fit),
        "survival_words": words.COUNTED_CAPTION,
        "groups": [] if seen is None else [_row(group) for group in time_groups(seen, fit.fit)],
        "passes": fit.results - fit.failures,
        "interval": words.interval_sentence(fit),
        "curve": [sentence for sentence in sentences if sentence],
    }


# ---- the curve ----
def picture_of(seen: Results, fit: Reliability) -> dict[str, Any]:
    """Curve, counted curve and results, as far as results reach and a little on where the target
    lies just beyond.
    """
    longest = fit.longest_months
    wanted = [m for m in (fit.months, fit.months_limit) if m is not None]
    until = 1.05 * max([longest, *(m for m in wanted if m <= 1.5 * longest)])
    months = np.linspace(0, until, POINTS_OF_CURVE)
    fine = seen if seen.failures <= FINE else coarsen(seen, 1 / 52)
    reached = np.sort(seen.end)[-min(FEWEST_REACHING, len(seen))]
    corners = nonparametric_curve(fine).corners(float(reached))
    within = [m if m is not None and m <= until else None for m in (fit.months, fit.months_limit)]
    at = MONTHS_PER_YEAR * seen.end
    return survival_chart(
        _curve(fit, months),
        counted=[(round(MONTHS_PER_YEAR * years, 3), round(share, 5)) for years, share in corners],
        until=until,
        target=fit.target,
        estimate=within[0],
        limit=within[1],
        found_in=at[~seen.out].tolist(),
        found_out=at[seen.out].tolist(),
    )


def _curve(fit: Reliability, months: np.ndarray) -> Curve | None:
    years = np.maximum(months, 1e-6) / MONTHS_PER_YEAR
    if fit.fit is not None:
        low, high = fit.fit.band(years)
        line = fit.fit.reliability(years).tolist()
    elif fit.limit is not None:
        low, high, line = np.exp(-fit.limit.upper * years), np.ones(len(years)), []
    else:
        return None
    band = words.band_name(fit)
    return Curve(months.tolist(), line, low.tolist(), high.tolist(), band)


def _row(group: TimeGroup) -> GroupRow:
    ends = sorted({round(MONTHS_PER_YEAR * years) for years in (group.shortest, group.longest)})
    return GroupRow(
        " to ".join(str(end) for end in ends),
        group.results,
        group.inside,
        group.out,
        group.expected_out,
        100 * group.share,
        100 * group.limits.lower,
        100 * group.limits.upper,
    )


# ---- the members ----
def _members(person: Person, shown: Family, end: str) -> dict[str, Any]:
    """Those the person may see, the fastest at either end first; their picture at one end."""
    trends = Trend.objects.seen_by(person).filter(family=shown)
    counts = trends.aggregate(all=Count("pk"), fitted=Count("pk", filter=_has_rate()))
    rows = _fastest(trends)
    several = len({row.site_id for row in rows}) > 1
    rates = _rates(rows, end, with_site=several)
    picture = rates_chart(
        sorted(rates, key=lambda rate: -rate.rate),
        mean=getattr(shown, f"{end}_rate"),
        spread=getattr(shown, f"{end}_spread"),
        tolerance=shown.tolerance_percent,
    )
    return {
        "members": rows,
        "several": several,
        "visible": counts["all"],
        "fitted": counts["fitted"],
        "rates": picture if rates else None,
        "rates_words": words.rates_caption(len(rates), counts["fitted"]),
        "rates_sentence": words.rates_sentence(rates, shown, end),
    }


def _fastest(trends: QuerySet[Trend]) -> list[Trend]:
    fastest = Greatest(Abs("zero_rate"), Abs("span_rate"))
    return list(
        trends.filter(_has_rate())
        .select_related("point", "site", "transmitter")
        .annotate(fastest=fastest)
        .order_by(F("fastest").desc(nulls_last=True), "point__tag_key", "pk")[:SHOWN]
    )


def _rates(rows: list[Trend], end: str, *, with_site: bool) -> list[Rate]:
    return [
        Rate(
            f"{row.point.tag} ({row.site.code})" if with_site else row.point.tag,
            getattr(row, f"{end}_rate"),
            getattr(row, f"{end}_rate_low"),
            getattr(row, f"{end}_rate_high"),
        )
        for row in rows
        if getattr(row, f"{end}_rate") is not None
    ]


def _has_rate() -> Q:
    return Q(zero_rate__isnull=False) | Q(span_rate__isnull=False)
