"""Files on their way into the register: received, checked, applied whole or not at all, or
withdrawn.

What is to do is kept in the row (its state and lease), so a worker may stop anywhere: the next one
starts that step anew. The file is read again when it is applied, for the register may have changed
since it was checked.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import logging
import os
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path

from django.conf import settings
from django.db import IntegrityError, OperationalError, transaction
from django.db.models import Q

from plant.importing.columns import Parsed, Problem, read
from plant.importing.files import (
    LARGEST_FILE,
    Table,
    Unreadable,
    examine,
    is_workbook,
    read_table,
    write_table,
)
from plant.importing.importer import Context, Importer, Outcome
from plant.importing.models import ImportBatch, ImportProblem
from plant.importing.refusals import (
    ChangeReasonMissing,
    FileTooLarge,
    NotChecked,
    NotOpen,
    UnreadableFile,
)
from plant.importing.staging import unprepared
from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import require
from plant.refusals import Refused
from plant.saving import constraint_messages
from plant.sites.models import Site

log = logging.getLogger(__name__)

State = ImportBatch.ImportState
Importers = Mapping[str, Importer]
LEASE = dt.timedelta(minutes=15)
MOST_KEPT = 5_000  # problems; who has more mends the first and sends the file again
MOST_WARNINGS = 200
AT_ONCE = 256 * 1024
"""Bytes of a file that is checked while its sender waits, about 2,000 rows; larger ones are left to
a worker.
"""


class ClaimLost(RuntimeError):
    """Another worker took the import over after this one's lease had run out."""


# ---- in ----
@transaction.atomic
def receive(
    chunks: Iterable[bytes], *, file_name: str, kind: str, site: Site, by: Person, at: dt.datetime
) -> ImportBatch:
    """Keep an uploaded file and queue it to be checked. Refused at once: what is no CSV or XLSX, or
    too large.
    """
    require(by, "import", site.pk)
    stored, digest, size = _keep(chunks)
    return ImportBatch.objects.create(
        site=site,
        kind=kind,
        file_name=_plain(file_name),
        stored_as=stored,
        sha256=digest,
        size=size,
        uploaded_by=by,
        uploaded_at=at,
    )


def folder() -> Path:
    return Path(settings.DATA) / "uploads"


def path_of(batch: ImportBatch) -> Path:
    return folder() / batch.stored_as


def _keep(chunks: Iterable[bytes]) -> tuple[str, str, int]:
    """Write, judge, flush, then give the file its name, which is its content's hash: it exists
    whole or not at all.
    """
    folder().mkdir(mode=0o750, parents=True, exist_ok=True)
    digest, size = hashlib.sha256(), 0
    handle, unfinished = tempfile.mkstemp(dir=folder(), prefix="unfinished-")
    try:
        with os.fdopen(handle, "wb") as file:
            for chunk in chunks:
                size += len(chunk)
                if size > LARGEST_FILE:
                    raise FileTooLarge
                digest.update(chunk)
                file.write(chunk)
            file.flush()
            os.fsync(file.fileno())
        name = digest.hexdigest() + _judged(Path(unfinished))
        Path(unfinished).replace(folder() / name)
    finally:
        Path(unfinished).unlink(missing_ok=True)
    _flush_folder()
    return name, digest.hexdigest(), size


def _judged(path: Path) -> str:
    try:
        examine(path)
    except Unreadable as error:
        raise UnreadableFile(reason=str(error)) from error
    with path.open("rb") as file:
        return ".xlsx" if is_workbook(file.read(4)) else ".csv"


def _flush_folder() -> None:
    handle = os.open(folder(), os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _plain(file_name: str) -> str:
    name = "".join(sign for sign in file_name if sign.isprintable())
    return name.replace("\\", "/").rsplit("/", 1)[-1][-200:] or "unnamed"


# ---- decided by a person ----
@transaction.atomic
def ask_to_apply(batch: ImportBatch, *, why: str = "", by: Person) -> ImportBatch:
    """Queue a checked file to be applied; ``run`` does it. Changes to what is in the register need
    their reason.
    """
    require(by, "import", batch.site_id)
    batch = ImportBatch.objects.select_for_update(of=("self",)).get(pk=batch.pk)
    if batch.state != State.CHECKED:
        raise NotChecked(state=batch.get_state_display())
    if batch.rows_changed and not why.strip():
        raise ChangeReasonMissing(batch.rows_changed)
    batch.state, batch.applied_by, batch.why, batch.progress = State.TO_APPLY, by, why.strip(), 0
    batch.save(update_fields=["state", "applied_by", "why", "progress"])
    return batch


@transaction.atomic
def withdraw(batch: ImportBatch, *, by: Person) -> ImportBatch:
    """Give an import up before it is applied. The file stays, as does what was wrong with it."""
    require(by, "import", batch.site_id)
    batch = ImportBatch.objects.select_for_update(of=("self",)).get(pk=batch.pk)
    if batch.state not in (State.WAITING, State.CHECKED, State.REFUSED):
        raise NotOpen(state=batch.get_state_display())
    batch.state = State.WITHDRAWN
    batch.save(update_fields=["state"])
    enter("withdraw import", on=batch, by=by, details={"sha256": batch.sha256})
    return batch


# ---- done by whoever comes first: the page, a worker, the command ----
@transaction.atomic
def claim(*, at: dt.datetime, batch: ImportBatch | None = None) -> ImportBatch | None:
    """Lease one import that waits (or this one), or whose worker has not been heard of; None where
    there is none.
    """
    waits = Q(state__in=[State.WAITING, State.TO_APPLY])
    left = Q(state__in=[State.CHECKING, State.APPLYING], claimed_until__lte=at)
    rows = ImportBatch.objects.filter(waits | left).order_by("id")
    if batch:
        rows = rows.filter(pk=batch.pk)
    waiting = (
        rows.select_for_update(skip_locked=True, of=("self",))
        .select_related("site", "applied_by")
        .first()
    )
    if waiting is None:
        return None
    begins = {State.WAITING: State.CHECKING, State.TO_APPLY: State.APPLYING}
    waiting.state = begins.get(State(waiting.state), waiting.state)
    waiting.claimed_until, waiting.progress = at + LEASE, 5
    waiting.save(update_fields=["state", "claimed_until", "progress"])
    return waiting


def run(batch: ImportBatch, importers: Importers, *, at: dt.datetime) -> ImportBatch:
    """Do the step a claimed import is at. Whatever is wrong with the file ends as problems of the
    import.
    """
    importer = importers[batch.kind]
    try:
        parsed = read(_table(batch), importer.layout)
        _progress(batch, 40)
        step = _apply if batch.state == State.APPLYING else _check
        with unprepared():
            return step(batch, importer, parsed, at=at)
    except (Unreadable, Refused) as refusal:
        reason = str(refusal)
    except IntegrityError as error:
        log.warning("import %s refused by the database: %s", batch.pk, error)
        text = str(error).splitlines()[0]
        reason = (
            f"The register was changed meanwhile and no longer takes these rows ({text}). Send "
            "the file again."
        )
    except (OperationalError, ClaimLost):
        raise  # the step is done anew when the lease runs out, or is being done by another
    except Exception:
        log.exception("import %s stopped", batch.pk)
        reason = (
            "Spanbook failed at this file and stored nothing of it; its log says where. Tell "
            "your administrator."
        )
    return _refuse(batch, [Problem(0, "file", batch.file_name, reason)])


def _table(batch: ImportBatch) -> Table:
    """The sent file's table. A workbook is unpacked once: what was checked is kept as CSV, and
    applied from there.
    """
    path = path_of(batch)
    if not path.is_file():
        raise Unreadable("The stored file is gone from the server. Send it again.")
    if _hash(path) != batch.sha256:
        raise Unreadable("The stored file is not the one that was sent. Send it again.")
    unpacked, known = path.with_suffix(".unpacked.csv"), batch.report.get("unpacked")
    if known and unpacked.is_file() and _hash(unpacked) == known:
        return read_table(unpacked)
    table = read_table(path)
    if path.suffix == ".xlsx":
        batch.report = {"unpacked": write_table(table, unpacked)}
    return table


def _hash(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


@transaction.atomic
def _check(
    batch: ImportBatch, importer: Importer, parsed: Parsed, *, at: dt.datetime
) -> ImportBatch:
    outcome = _against_register(batch, importer, parsed, _context(batch, at, writes=False))
    if parsed.problems:
        return _refuse(batch, parsed.sorted_problems(), parsed)
    _count(batch, parsed, outcome)
    return _settle(batch, State.CHECKED, progress=100, problems_found=0)


@transaction.atomic
def _apply(
    batch: ImportBatch, importer: Importer, parsed: Parsed, *, at: dt.datetime
) -> ImportBatch:
    if batch.applied_by is None:
        raise ValueError(f"import {batch.pk}: nobody asked to apply it")
    require(batch.applied_by, "import", batch.site_id)
    context = _context(batch, at, writes=True)
    outcome = _against_register(batch, importer, parsed, context)
    if parsed.problems:
        return _refuse(batch, parsed.sorted_problems(), parsed)
    if outcome.new or outcome.changed:
        with constraint_messages():
            importer.write(parsed, outcome, context)
    _count(batch, parsed, outcome)
    details = {
        "what": batch.kind,
        "file": batch.file_name,
        "sha256": batch.sha256,
        "rows": batch.rows_read,
        "new": outcome.new,
        "changed": outcome.changed,
        "same": outcome.same,
    }
    _settle(batch, State.APPLIED, progress=100, applied_at=at)
    enter("import", on=batch, by=batch.applied_by, why=batch.why, details=details)
    return batch


def _against_register(
    batch: ImportBatch, importer: Importer, parsed: Parsed, context: Context
) -> Outcome:
    """With a header that is not understood the rows cannot be judged."""
    return Outcome() if parsed.header_is_wrong else importer.check(parsed, context)


def _context(batch: ImportBatch, at: dt.datetime, *, writes: bool) -> Context:
    return Context(batch.site, batch.site.day_of(at), at, batch.applied_by, writes)


def _count(batch: ImportBatch, parsed: Parsed, outcome: Outcome) -> None:
    batch.rows_read = len(parsed.rows)
    batch.rows_new, batch.rows_changed, batch.rows_same = outcome.new, outcome.changed, outcome.same
    _note(batch, parsed)
    batch.report["shown"] = [change.as_json() for change in outcome.shown]


def _note(batch: ImportBatch, parsed: Parsed) -> None:
    """Notes and warnings, as they were when the file was checked."""
    warnings = [list(warning) for warning in parsed.warnings[:MOST_WARNINGS]]
    batch.report = {"notes": parsed.table.notes, "warnings": warnings} | batch.report


@transaction.atomic
def _refuse(
    batch: ImportBatch, problems: list[Problem], parsed: Parsed | None = None
) -> ImportBatch:
    batch.problems.all().delete()
    ImportProblem.objects.bulk_create(
        [
            ImportProblem(
                batch=batch,
                row=problem.row,
                column=_clip(problem.column, 80),
                value=_clip(problem.value, 120),
                reason=_clip(problem.reason, 300),
            )
            for problem in problems[:MOST_KEPT]
        ],
        batch_size=1000,
    )
    if parsed:
        batch.rows_read = len(parsed.rows)
        _note(batch, parsed)
    return _settle(batch, State.REFUSED, progress=100, problems_found=len(problems))


def _clip(text: str, longest: int) -> str:
    text = text.replace("\0", "␀")
    return text if len(text) <= longest else text[: longest - 1] + "…"


def _progress(batch: ImportBatch, percent: int) -> None:
    ImportBatch.objects.filter(pk=batch.pk).update(progress=percent)


def _settle(batch: ImportBatch, state: str, **changes: object) -> ImportBatch:
    """Write the outcome if the lease is still ours: one row exactly, or all of this step is
    undone.
    """
    counted = ("rows_read", "rows_new", "rows_changed", "rows_same", "report")
    values = {name: getattr(batch, name) for name in counted} | changes
    ours = ImportBatch.objects.filter(
        pk=batch.pk, state=batch.state, claimed_until=batch.claimed_until
    )
    if ours.update(state=state, **values) != 1:
        raise ClaimLost(f"import {batch.pk}")
    batch.state = state
    for name, value in changes.items():
        setattr(batch, name, value)
    return batch
