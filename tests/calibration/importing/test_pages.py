"""The pages of imports: send, see what is wrong or would change, apply, withdraw; and the
command.
"""

from __future__ import annotations

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.urls import reverse

from calibration.importing.kinds import IMPORTERS, run_waiting
from plant.importing import acts as imports
from plant.importing.models import ImportBatch
from plant.points.models import MeasuringPoint
from tests.files import HOSTILE
from tests.makers import NOON, a_tank

pytestmark = pytest.mark.django_db

GOOD = "tag,tank,LRV (m),URV (m),tolerance\nLT-101A,T-101,0.3,8.3,1\nLT-101B,T-101,0.3,8.3,1\n"


@pytest.fixture
def planners_client(sign_in, planner, site):
    a_tank()
    return sign_in(planner)


def upload(client, site, data, name="points.csv", kind="register"):
    body = data.encode() if isinstance(data, str) else data
    form = {"site": site.pk, "kind": kind, "file": SimpleUploadedFile(name, body)}
    return client.post(reverse("calibration:import_new"), form)


def text_of(answer) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def test_a_file_is_checked_shown_and_applied(planners_client, site):
    answer = upload(planners_client, site, GOOD)
    batch = ImportBatch.objects.get()
    assert answer["Location"] == reverse("calibration:import", args=[batch.pk])
    page = text_of(planners_client.get(answer["Location"]))
    assert "What would change" in page
    assert "LT-101A 2 new" in page
    assert not MeasuringPoint.objects.exists()
    planners_client.post(reverse("calibration:import_apply", args=[batch.pk]))
    assert MeasuringPoint.objects.count() == 2
    assert "Applied" in text_of(planners_client.get(answer["Location"]))


def test_problems_are_listed_by_row_paged_and_downloadable(planners_client, site):
    bad = GOOD + "".join(f"LT-{n}X,T-9,0.3,8.3,1\n" for n in range(150))
    answer = upload(planners_client, site, bad)
    page = planners_client.get(answer["Location"])
    assert "150 problems; nothing was stored" in text_of(page)
    assert page.content.count(b"is no tank of this site") == 100
    later = planners_client.get(
        answer["Location"] + re.search(r'rel="next" href="([^"]+)"', page.content.decode())[1]
    )
    assert later.content.count(b"is no tank of this site") == 50
    pk = ImportBatch.objects.get().pk
    lines = b"".join(
        planners_client.get(reverse("calibration:import_problems_csv", args=[pk]))
    ).decode()
    assert lines.count("\r\n") == 151
    assert "4,tank,T-9,is no tank" in lines


@pytest.mark.parametrize(
    ("name", "reason"),
    [("empty.csv", "0 bytes"), ("document.csv", "PDF"), ("not-a-workbook.xlsx", "ZIP")],
)
def test_a_wrong_kind_of_file_is_told_beside_its_field(name, reason, planners_client, site):
    answer = upload(planners_client, site, (HOSTILE / name).read_bytes(), name)
    assert answer.status_code == 422
    assert reason in text_of(answer)
    assert not ImportBatch.objects.exists()


def test_a_large_file_waits_for_a_worker_and_shows_its_progress(planners_client, site, monkeypatch):
    monkeypatch.setattr(imports, "AT_ONCE", 10)
    woken = []
    monkeypatch.setattr(
        "calibration.importing.views.run_waiting_imports.delay_on_commit", lambda: woken.append(1)
    )
    answer = upload(planners_client, site, GOOD)
    page = planners_client.get(answer["Location"]).content.decode()
    assert 'http-equiv="refresh"' in page
    assert "<progress" in page
    assert run_waiting(clock=lambda: NOON) == 1
    assert 'http-equiv="refresh"' not in planners_client.get(answer["Location"]).content.decode()
    planners_client.post(reverse("calibration:import_apply", args=[ImportBatch.objects.get().pk]))
    assert not MeasuringPoint.objects.exists()
    run_waiting(clock=lambda: NOON)
    assert MeasuringPoint.objects.count() == 2
    assert len(woken) == 2


def test_a_change_without_its_reason_is_asked_for_again(planners_client, site):
    upload(planners_client, site, GOOD)
    planners_client.post(reverse("calibration:import_apply", args=[ImportBatch.objects.get().pk]))
    upload(planners_client, site, GOOD.replace("8.3,1", "8.2,1"))
    url = reverse("calibration:import_apply", args=[ImportBatch.objects.latest("pk").pk])
    answer = planners_client.post(url)
    assert answer.status_code == 422
    assert "Say why: 2 row(s)" in text_of(answer)
    assert planners_client.post(url, {"why": "nozzle moved"}).status_code == 302
    assert {str(p.upper) for p in MeasuringPoint.objects.all()} == {"8.20000"}


def test_a_withdrawn_import_cannot_be_applied(planners_client, site):
    upload(planners_client, site, GOOD)
    pk = ImportBatch.objects.get().pk
    planners_client.post(reverse("calibration:import_withdraw", args=[pk]))
    answer = planners_client.post(reverse("calibration:import_apply", args=[pk]))
    assert answer.status_code == 422
    assert "withdrawn" in text_of(answer)
    assert not MeasuringPoint.objects.exists()


def test_the_list_is_empty_with_advice_and_then_leads_back(planners_client, site):
    url = reverse("calibration:imports")
    assert "products, tanks, the register, standards, past calibrations" in text_of(
        planners_client.get(url)
    )
    upload(planners_client, site, GOOD)
    assert "points.csv" in text_of(planners_client.get(url))


@pytest.mark.parametrize("fmt", ["csv", "xlsx"])
@pytest.mark.parametrize("kind", sorted(IMPORTERS))
def test_every_kind_has_an_example_file(kind, fmt, planners_client):
    answer = planners_client.get(reverse("calibration:template", args=[kind, fmt]))
    assert answer.status_code == 200
    assert len(answer.content) > 100


def test_no_example_of_an_unknown_kind(planners_client):
    assert planners_client.get("/imports/template/people.csv").status_code == 404


def test_who_may_see_and_who_may_send(
    sign_in, site, planner, technician, auditor, outsider, administrator
):
    a_tank()
    upload(sign_in(planner), site, GOOD)
    pk = ImportBatch.objects.get().pk
    page, new = reverse("calibration:import", args=[pk]), reverse("calibration:import_new")
    expected = {
        planner: (200, 200),
        auditor: (200, 403),
        technician: (403, 403),
        administrator: (403, 403),
        outsider: (404, 200),
    }
    for person, statuses in expected.items():
        client = sign_in(person)
        assert (client.get(page).status_code, client.get(new).status_code) == statuses, person
    assert sign_in(auditor).post(reverse("calibration:import_apply", args=[pk])).status_code == 403
    assert sign_in(outsider).post(reverse("calibration:import_apply", args=[pk])).status_code == 404
    foreign = upload(sign_in(outsider), site, GOOD)
    assert foreign.status_code == 422


# ---- the command ----
def test_the_command_brings_a_file_in(planners_client, planner, tmp_path, capsys):
    file = tmp_path / "points.csv"
    file.write_text(GOOD)
    call_command(
        "import_file", "register", str(file), site="M", by=planner.username, check_only=True
    )
    assert not MeasuringPoint.objects.exists()
    call_command("import_file", "register", str(file), site="M", by=planner.username)
    assert "2 new, 0 changed, 0 the same; applied" in capsys.readouterr().out
    call_command("import_file", "register", str(file), site="M", by=planner.username)
    assert "0 new, 0 changed, 2 the same" in capsys.readouterr().out


def test_the_command_prints_problems_by_row_and_fails(planners_client, planner, tmp_path, capsys):
    file = tmp_path / "points.csv"
    file.write_text(GOOD.replace("T-101,0.3", "T-9,x", 1))
    with pytest.raises(CommandError, match="2 problem"):
        call_command("import_file", "register", str(file), site="M", by=planner.username)
    errors = capsys.readouterr().err
    assert "row 2, tank: “T-9” is no tank" in errors
    assert "row 2, LRV (m): “x” is not a number" in errors


def test_the_command_asks_for_the_rights_of_the_person(site, technician, tmp_path):
    file = tmp_path / "points.csv"
    file.write_text(GOOD)
    with pytest.raises(CommandError, match="Only a planner"):
        call_command("import_file", "register", str(file), site="M", by=technician.username)
