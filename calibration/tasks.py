"""Every Celery task. A message is a hint: what there is to do stands in the database, and twice does no harm."""

from celery import shared_task
from django.utils import timezone

from calibration.operations import heartbeats, imports, reminders


@shared_task(ignore_result=True)
def scan_reminders() -> None:
    """Write the reminders of the sites whose morning has come."""
    reminders.scan(at=timezone.now())
    heartbeats.beat("scan_reminders", at=timezone.now())


@shared_task(ignore_result=True)
def send_waiting() -> None:
    """Send the mails that wait in the outbox."""
    reminders.send_waiting(clock=timezone.now)
    heartbeats.beat("send_waiting", at=timezone.now())


@shared_task(ignore_result=True)
def run_waiting_imports() -> None:
    """Check or apply the uploaded files that wait, and those whose worker was lost."""
    imports.run_waiting(clock=timezone.now)
    heartbeats.beat("run_waiting_imports", at=timezone.now())
