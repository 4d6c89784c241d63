"""A change of product looks at the points of its own tank and waits for no other."""

from __future__ import annotations

import threading
from decimal import Decimal

import pytest
from django.db import connection, connections, transaction

from calibration.jobs import acts as jobs
from calibration.jobs.models import Job
from calibration.product_changes import acts as demands
from tests.makers import (
    NOON,
    TODAY,
    a_point,
    a_tank,
    a_transmitter,
    an_installation,
    soybean_oil,
)
from tests.races import PATIENCE


@pytest.mark.django_db(transaction=True)
def test_work_at_a_job_of_another_tank_holds_up_no_change_of_product(site, planner, technician):
    tank = a_tank(product_c=Decimal(40))
    device = a_transmitter(probe_length_mm=8100, probe_diameter_mm=12)
    an_installation(a_point("LT-101B", tank), device)
    other = jobs.plan(a_point("LT-9", a_tank("T-9")), technician=technician, by=planner)
    is_held, may_end = threading.Event(), threading.Event()

    def hold() -> None:
        with transaction.atomic():
            Job.objects.select_for_update().get(pk=other.pk)
            is_held.set()
            may_end.wait(PATIENCE)
        connections.close_all()

    holder = threading.Thread(target=hold, daemon=True)
    holder.start()
    assert is_held.wait(PATIENCE)
    try:
        with transaction.atomic():
            with connection.cursor() as cursor:
                cursor.execute("SET LOCAL lock_timeout = '5s'")
            _, raised = demands.change_product(
                tank,
                product=soybean_oil(),
                celsius=Decimal(25),
                on=TODAY,
                why="A ship.",
                by=planner,
                at=NOON,
            )
    finally:
        may_end.set()
        holder.join(PATIENCE)
    assert [job.point.tag for job in raised] == ["LT-101B"]
