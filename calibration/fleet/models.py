"""A pass over the fleet: when it ran, over what, and how far it came."""

from __future__ import annotations

from django.db import models


class FleetRun(models.Model):
    """One pass over the fleet: families fitted, trends and proposals renewed where something had
    changed.
    """

    started_at = models.DateTimeField("started")
    finished_at = models.DateTimeField("finished", null=True, blank=True)
    # Of the last sign of life; a run without one for long was lost and is taken up again.
    alive_at = models.DateTimeField("last progress")
    points = models.PositiveIntegerField("points to do", default=0)
    done = models.PositiveIntegerField("points done", default=0)
    proposals = models.PositiveIntegerField("proposals made", default=0)
    steps = models.PositiveIntegerField("steps found", default=0)
    trouble = models.TextField("what went wrong", blank=True)

    class Meta:
        ordering = ["-started_at"]

    def __str__(self) -> str:
        return f"pass of {self.started_at:%Y-%m-%d}"
