"""Which open jobs a reference standard serves: what has to wait when it lapses."""

from __future__ import annotations

from collections.abc import Sequence

from calibration.jobs.models import Job
from calibration.procedures.choice import fitting, newest_of
from calibration.procedures.models import ProcedureVersion
from calibration.records.kit import unfit
from calibration.standards.models import ReferenceStandard
from plant.transmitters.models import Installation, Transmitter

MOST = 50  # open jobs looked at, the soonest first


def jobs_served(standard: ReferenceStandard) -> list[Job]:
    """The open jobs whose test can rest on it by its newest certificate, the soonest first.

    Of a standard in somebody's kit, their own jobs; of a shared one, all of the site. Three
    queries beside the certificate's.
    """
    certificate = standard.certificates.order_by("-valid_until").first()
    if certificate is None:
        return []
    jobs = _open_jobs(standard)
    versions = newest_of(
        list(
            ProcedureVersion.objects.filter(published_on__isnull=False)
            .select_related("procedure")
            .order_by("procedure", "-number")
        )
    )
    installed = _installed([job.point_id for job in jobs])
    return [
        job
        for job in jobs
        for version in fitting(versions, job.point, installed.get(job.point_id))[:1]
        if not unfit(standard, certificate, job.point, version.way)
    ]


def _open_jobs(standard: ReferenceStandard) -> Sequence[Job]:
    jobs = Job.objects.open().filter(site=standard.site_id)
    if standard.holder_id:
        jobs = jobs.filter(technician=standard.holder_id)
    return list(jobs.select_related("point", "technician").order_by("due_on", "pk")[:MOST])


def _installed(point_ids: Sequence[int]) -> dict[int, Transmitter]:
    present = Installation.objects.filter(point__in=point_ids, removed_on=None)
    return {each.point_id: each.transmitter for each in present.select_related("transmitter")}
