"""Jobs: what is planned for the technician, and one job with all it takes to do it."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from calibration.jobs.list_page import by_day, jobs_with, mine_of, others_of, with_due
from calibration.jobs.models import Job
from calibration.jobs.page import SHOWN_OF_JOB, job_context
from calibration.pages import require_sight
from plant.pages.requests import SignedRequest
from plant.people.permissions import may

ROWS = 50


@require_safe
def jobs(request: SignedRequest) -> HttpResponse:
    """My jobs, returned ones on top with the reason; then the other open jobs of my sites, tank by
    tank.
    """
    require_sight(request.user)
    text = request.GET.get("q", "").strip()
    seen = jobs_with(text, seen_by=request.user)
    page = Paginator(others_of(seen, request.user), ROWS).get_page(request.GET.get("page"))
    context = {
        "mine": by_day(mine_of(seen, request.user)),
        "others": with_due(page.object_list),
        "page": page,
        "text": text,
    }
    return render(request, "calibration/jobs/job_list.html", context)


@require_safe
def job(request: SignedRequest, pk: int) -> HttpResponse:
    """One job: cautions, steps, its last result, what became of it so far."""
    job = get_object_or_404(Job.objects.seen_by(request.user).select_related(*SHOWN_OF_JOB), pk=pk)
    is_open = job.state in Job.OPEN
    rights = {
        "can_calibrate": is_open and may(request.user, "calibrate", job.site_id),
        "is_mine": job.technician_id == request.user.pk,
        "can_hand_over": is_open and may(request.user, "plan", job.site_id),
        "can_cancel": is_open and may(request.user, job.right_to_cancel, job.site_id),
    }
    context = job_context(job, seen_by=request.user) | rights
    return render(request, "calibration/jobs/job.html", context)
