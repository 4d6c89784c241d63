"""Every Celery task. A message is a hint: what there is to do stands in the database, and twice
does no harm.
"""

from celery import shared_task
from django.utils import timezone

from calibration.fleet import acts as fleet
from calibration.importing import kinds as imports
from calibration.product_changes import acts as demands
from calibration.reminders import acts as reminders
from calibration.reminders import heartbeats, outbox
from calibration.status import acts as statuses


@shared_task(ignore_result=True)
def scan_reminders() -> None:
    """Write the reminders of the sites whose morning has come."""
    reminders.scan(at=timezone.now())
    heartbeats.beat("scan_reminders", at=timezone.now())


@shared_task(ignore_result=True)
def send_waiting() -> None:
    """Send the mails that wait in the outbox."""
    outbox.send_waiting(clock=timezone.now)
    heartbeats.beat("send_waiting", at=timezone.now())


@shared_task(ignore_result=True)
def run_waiting_imports() -> None:
    """Check or apply the uploaded files that wait, and those whose worker was lost."""
    imports.run_waiting(clock=timezone.now)
    heartbeats.beat("run_waiting_imports", at=timezone.now())


@shared_task(ignore_result=True)
def renew_fleet() -> None:
    """Take up a pass over the fleet that waits: asked for, or lost with its worker."""
    fleet.run(clock=timezone.now, nightly=False)
    heartbeats.beat("renew_fleet", at=timezone.now())


@shared_task(ignore_result=True)
def renew_fleet_nightly() -> None:
    """Fit families, trends and proposals anew where something changed since the last pass."""
    fleet.run(clock=timezone.now, nightly=True)
    heartbeats.beat("renew_fleet_nightly", at=timezone.now())


@shared_task(ignore_result=True)
def look_at_statuses() -> None:
    """Derive the status of the points for which days alone have changed it."""
    statuses.look_again(at=timezone.now())
    heartbeats.beat("look_at_statuses", at=timezone.now())


@shared_task(ignore_result=True)
def look_into_product_changes() -> None:
    """Ask for the recalibrations of changed products that nobody asked for yet."""
    demands.raise_waiting(at=timezone.now())
    heartbeats.beat("look_into_product_changes", at=timezone.now())
