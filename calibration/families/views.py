"""Families of like transmitters: the list, and one with how long it stays in tolerance and how its
members drift.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from django.db.models import Count, F, Q
from django.db.models.functions import Abs, Greatest
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from calibration.drift.models import Trend
from calibration.families import reads as families
from calibration.families import sentences as words
from calibration.families.charts import Curve, Rate, rates_chart, survival_chart
from calibration.families.models import Family
from calibration.families.reads import MONTHS_PER_YEAR, Reliability
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
FINE = 300  # found out; beyond that the counted curve is drawn by the week, for speed
FEWEST_REACHING = 5  # the counted curve is drawn while so many results reach so far


class ListRow(NamedTuple):
    family: Family
    yours: int
    percent_in: float | None


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
    """All families of the book: numbers of all sites, and how many members stand where you may see
    them.
    """
    require_sight(request.user)
    yours = dict(
        Trend.objects.seen_by(request.user).values_list("family").annotate(n=Count("pk")).order_by()
    )
    rows = [
        ListRow(
            row, yours.get(row.pk, 0), 100 * row.found_in / row.results if row.results else None
        )
        for row in Family.objects.all()
    ]
    return render(request, "calibration/families/family_list.html", {"rows": rows})


@require_safe
def family(request: SignedRequest, pk: int) -> HttpResponse:
    """One family: its curve against pass and fail, the interval for a target, what it lends, how
    its members drift.
    """
    require_sight(request.user)
    shown = get_object_or_404(Family, pk=pk)
    target = _asked(request.GET.get("target", ""))
    end = "span" if request.GET.get("of") == "span" else "zero"
    found = families.results_of(shown)
    said = families.reliability(found.seen, target / 100, CONFIDENCE)
    seen = found.seen
    facts = {
        "family": shown,
        "found": found,
        "said": said,
        "sampled": shown.members > families.MOST,
        "target": target,
        "targets": TARGETS,
        "end": end,
        "survival": None if seen is None else picture_of(seen, said),
        "survival_words": words.survival_caption(said),
        "groups": [] if seen is None else [_row(group) for group in time_groups(seen, said.fit)],
        "passes": said.results - said.failures,
        "interval": words.interval_sentence(said),
        "curve": [
            sentence
            for sentence in (
                words.curve_sentence(said),
                words.effect_sentence(said),
                words.fit_sentence(found, said),
                *words.sameness_sentences(found),
            )
            if sentence
        ],
        "lends": [text for e in ("zero", "span") if (text := words.lends_sentence(shown, e))],
        "held": words.held_sentence(shown),
        **_members(request.user, shown, end),
    }
    return render(request, "calibration/families/family.html", facts)


def _asked(text: str) -> int:
    return next((target for target in TARGETS if str(target) == text), 95)


# ---- the curve ----
def picture_of(seen: Results, said: Reliability) -> dict[str, Any]:
    """Curve, counted curve and results, as far as results reach and a little on where the target
    lies just beyond.
    """
    longest = said.longest_months
    wanted = [m for m in (said.months, said.months_limit) if m is not None]
    until = 1.05 * max([longest, *(m for m in wanted if m <= 1.5 * longest)])
    months = np.linspace(0, until, POINTS_OF_CURVE)
    fine = seen if seen.failures <= FINE else coarsen(seen, 1 / 52)
    reached = np.sort(seen.end)[-min(FEWEST_REACHING, len(seen))]
    corners = nonparametric_curve(fine).corners(float(reached))
    within = [m if m is not None and m <= until else None for m in (said.months, said.months_limit)]
    at = MONTHS_PER_YEAR * seen.end
    return survival_chart(
        _curve(said, months),
        counted=[(round(MONTHS_PER_YEAR * years, 3), round(share, 5)) for years, share in corners],
        until=until,
        target=said.target,
        estimate=within[0],
        limit=within[1],
        found_in=at[~seen.out].tolist(),
        found_out=at[seen.out].tolist(),
    )


def _curve(said: Reliability, months: np.ndarray) -> Curve | None:
    years = np.maximum(months, 1e-6) / MONTHS_PER_YEAR
    if said.fit is not None:
        low, high = said.fit.band(years)
        line = said.fit.reliability(years).tolist()
    elif said.limit is not None:
        low, high, line = np.exp(-said.limit.upper * years), np.ones(len(years)), []
    else:
        return None
    return Curve(months.tolist(), line, low.tolist(), high.tolist())


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
    """Those the person may see, the fastest at either end first; their picture at the end asked
    for.
    """
    trends = Trend.objects.seen_by(person).filter(family=shown)
    counts = trends.aggregate(all=Count("pk"), fitted=Count("pk", filter=_has_rate()))
    fastest = Greatest(Abs("zero_rate"), Abs("span_rate"))
    rows = list(
        trends.filter(_has_rate())
        .select_related("point", "site", "transmitter")
        .order_by(F("fastest").desc(nulls_last=True), "point__tag_key", "pk")
        .annotate(fastest=fastest)[:SHOWN]
    )
    several = len({row.site_id for row in rows}) > 1
    rates = [
        Rate(
            f"{row.point.tag} ({row.site.code})" if several else row.point.tag,
            getattr(row, f"{end}_rate"),
            getattr(row, f"{end}_rate_low"),
            getattr(row, f"{end}_rate_high"),
        )
        for row in rows
        if getattr(row, f"{end}_rate") is not None
    ]
    drawn = rates_chart(
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
        "rates": drawn if rates else None,
        "rates_words": words.rates_caption(len(rates), counts["fitted"], shown, end),
        "rates_sentence": words.rates_sentence(rates, shown, end),
    }


def _has_rate() -> Q:
    return Q(zero_rate__isnull=False) | Q(span_rate__isnull=False)
