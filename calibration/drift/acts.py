"""Jumps in the drift: what caused them, as somebody found out. Nothing is dropped; the answer says
how to count it.
"""

from __future__ import annotations

import datetime as dt

from django.db import transaction

from calibration.drift import trends
from calibration.drift.models import JumpQuestion
from calibration.drift.refusals import NoCause, NoEvidence
from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import require


@transaction.atomic
def answer(
    question: JumpQuestion, *, cause: str, text: str, by: Person, at: dt.datetime
) -> JumpQuestion:
    """Say what caused the jump. The drift of the point is computed again in the same transaction.

    A repair begins a new segment, with a rate of its own; a bad reading is set aside; "nothing
    happened" counts it as drift like any other; every other cause leaves a new level, and the
    rate goes on. A later answer replaces it.
    """
    require(by, "answer step", question.site_id)
    if cause not in JumpQuestion.Cause.values:
        raise NoCause()
    if not text.strip():
        raise NoEvidence()
    question = (
        JumpQuestion.objects.select_for_update(of=("self",))
        .select_related("point")
        .get(pk=question.pk)
    )
    was = question.cause
    question.cause, question.answer = cause, text.strip()
    question.answered_by, question.answered_at = by, at
    question.save(update_fields=["cause", "answer", "answered_by", "answered_at"])
    trends.refit([question.point_id])
    details = {"end": question.end, "cause": cause, "record": question.record_id}
    enter(
        "answer step", on=question, by=by, why=text, details=details | ({"was": was} if was else {})
    )
    return question
