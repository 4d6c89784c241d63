"""The editor of procedures: the next version by an approver, nothing typed lost, two at once told."""

from __future__ import annotations

import pytest

from calibration.models import Procedure, SiteWording
from calibration.operations.delivered import load_seeds
from calibration.operations.jobs import start
from plant.models import LedgerEntry
from tests.makers import TODAY, an_equipped_point

pytestmark = pytest.mark.django_db
ADDRESS = "/procedures/cap-output/edit/"


@pytest.fixture
def seeds(site):
    load_seeds(on=TODAY)
    return Procedure.objects.get(key="cap-output")


def typed_from(page) -> dict[str, str]:
    """Everything that stands in the forms, as a browser would send it."""
    sent = {}
    for form in (
        page.context["form"],
        *page.context["steps"].forms,
        page.context["steps"].management_form,
    ):
        for field in form:
            value = field.value()
            if value not in (None, "", False, []):
                sent[field.html_name] = value
    return sent


def test_the_version_as_it_is_published_again_changes_nothing_of_it(seeds, sign_in, approver):
    client = sign_in(approver)
    sent = typed_from(client.get(ADDRESS)) | {"reason": "yearly review"}
    assert client.post(ADDRESS, sent).status_code == 302
    second, first = seeds.versions.all()
    assert (second.number, second.reason) == (2, "yearly review")
    names = ("way", "shape", "percents", "up_and_down", "settle_seconds", "adjusts", "stops")
    assert [getattr(second, n) for n in names] == [getattr(first, n) for n in names]
    parts = ("number", "key", "kind", "stage", "text", "settle_seconds", "asks", "stop")
    assert list(second.steps.values(*parts)) == list(first.steps.values(*parts))
    entry = LedgerEntry.objects.get(act="publish procedure")
    assert (entry.why, entry.details["version"]) == ("yearly review", 2)


def test_a_step_is_added_moved_and_removed(seeds, sign_in, approver):
    client = sign_in(approver)
    page = client.get(ADDRESS)
    sent = typed_from(page) | {"reason": "site's own wording"}
    count = len(seeds.versions.first().steps.all())
    sent |= {
        f"step-{count}-place": "2.5", f"step-{count}-kind": "prepare", f"step-{count}-key": "S1",
        f"step-{count}-text": "Ask for the key of the cabinet.", f"step-{count}-asks": "Key number | text | | needed",
        "step-2-DELETE": "on",
    }  # fmt: skip
    assert client.post(ADDRESS, sent).status_code == 302
    steps = list(seeds.versions.first().steps.all())
    assert steps[2].text == "Ask for the key of the cabinet."
    assert steps[2].asks == [
        {"name": "key_number", "label": "Key number", "kind": "text", "unit": "", "needed": True}
    ]
    assert "A4" not in [step.key for step in steps]


def test_what_is_wrong_is_said_and_what_was_typed_stays(seeds, sign_in, approver):
    client = sign_in(approver)
    sent = typed_from(client.get(ADDRESS)) | {"reason": "a try", "percents": "0, fifty"}
    page = client.post(ADDRESS, sent)
    assert page.status_code == 422
    assert "Numbers with commas" in page.content.decode()
    assert "0, fifty" in page.content.decode()
    adjust = next(n for n, s in enumerate(seeds.versions.first().steps.all()) if s.kind == "adjust")
    sent |= {"percents": "0, 50, 100", f"step-{adjust}-place": "1.5"}
    page = client.post(ADDRESS, sent)
    assert page.status_code == 422
    assert (
        "adjusts before as found" in page.content.decode() or "comes first" in page.content.decode()
    )
    assert seeds.versions.count() == 1


@pytest.mark.parametrize(
    "points", ["nan", "0, nan", "inf", "0, 123456", "0, 50.125", "-500, 0", ", ".join(map(str, range(26)))]
)  # fmt: skip
def test_points_that_no_version_can_hold_are_refused(seeds, sign_in, approver, points):
    client = sign_in(approver)
    page = client.post(
        ADDRESS, typed_from(client.get(ADDRESS)) | {"reason": "x", "percents": points}
    )
    assert page.status_code == 422
    assert page.context["form"].errors["percents"]
    assert seeds.versions.count() == 1


def test_the_second_of_two_editors_is_told(seeds, sign_in, approver):
    client = sign_in(approver)
    sent = typed_from(client.get(ADDRESS)) | {"reason": "first"}
    assert client.post(ADDRESS, sent).status_code == 302
    page = client.post(ADDRESS, sent | {"reason": "second"})
    assert page.status_code == 422
    assert "Somebody was quicker: version 2" in page.content.decode()
    assert seeds.versions.count() == 2


def test_a_sites_wording_stands_beside_the_procedure_and_in_the_pack(
    seeds, sign_in, approver, technician, outsider
):
    client = sign_in(approver)
    facts = {
        "site": approver.site_ids("see")[0],
        "step_key": "O4",
        "devices": "Tarn & Weir",
        "text": "Hold for 3 s.",
    }
    address = "/procedures/cap-output/wording/"
    assert client.post(address, facts).status_code == 302
    assert client.post(address, facts).status_code == 422  # the same again
    assert client.post(address, facts | {"step_key": "X9"}).status_code == 422
    assert "Hold for 3 s." in client.get("/procedures/cap-output/").content.decode()
    assert "Hold for 3 s." not in sign_in(outsider).get("/procedures/cap-output/").content.decode()
    start(an_equipped_point(procedure_key="cap-output"), by=technician)
    assert "Hold for 3 s." in sign_in(technician).get("/field/pack/").content.decode()
    wording = SiteWording.objects.get()
    assert sign_in(technician).post(f"/wordings/{wording.pk}/drop/").status_code == 403
    assert client.post(f"/wordings/{wording.pk}/drop/").status_code == 302
    assert not SiteWording.objects.exists()
    acts = (
        LedgerEntry.objects.filter(act__endswith="wording")
        .order_by("id")
        .values_list("act", flat=True)
    )
    assert list(acts) == ["add wording", "drop wording"]
