"""The editor of procedures: the next version by an approver, nothing typed lost, two at once
refused.
"""

from __future__ import annotations

import pytest

from calibration.jobs.acts import start
from calibration.procedures.acts import publish_missing
from calibration.procedures.delivered import FIRST_REASON, delivered
from calibration.procedures.models import Procedure, ProcedureStep, ProcedureVersion, SiteWording
from plant.ledger.models import LedgerEntry
from tests.folded import folded
from tests.makers import TODAY, an_equipped_point

pytestmark = pytest.mark.django_db
ADDRESS = "/procedures/cap-output/edit/"


@pytest.fixture
def seeds(site):
    publish_missing(on=TODAY)
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
            choices = getattr(field.field.widget, "choices", None)
            if value is None and choices and field.field.widget.input_type == "select":
                value = next(iter(choices))[0]  # a browser sends the first one
            if value not in (None, "", False, []):
                sent[field.html_name] = value
    return sent


def test_the_version_as_it_is_published_again_changes_nothing_of_it(seeds, sign_in, approver):
    client = sign_in(approver)
    sent = typed_from(client.get(ADDRESS)) | {"reason": "yearly review"}
    assert client.post(ADDRESS, sent).status_code == 302
    second, first = seeds.versions.all()
    assert (second.number, second.reason) == (2, "yearly review")
    names = (
        "way", "shape", "percents", "up_and_down", "settle_seconds", "adjusts", "covers_output",
        "covers_primary", "is_check", "stops",
    )  # fmt: skip
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
        f"step-{count}-place": "2.5",
        f"step-{count}-kind": "prepare",
        f"step-{count}-key": "S1",
        f"step-{count}-text": "Ask for the key of the cabinet.",
        f"step-{count}-asks": "Key number | text | | needed",
        "step-2-DELETE": "on",
    }
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
    "points",
    ["nan", "0, nan", "inf", "0, 123456", "0, 50.125", "-500, 0", ", ".join(map(str, range(26)))],
)
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
    assert "Version 2 is already published" in page.content.decode()
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


# ---- a new procedure ----
NEW = "/procedures/new/"
NAMED = {"name": "Float, on the bench", "principles": ["float"], "reason": "for the slop tanks"}


def test_a_new_procedure_begins_with_what_all_share(seeds, sign_in, approver):
    client = sign_in(approver)
    page = client.get(NEW)
    sent = typed_from(page) | NAMED | {"adjusts": ["zero"], "covers": ["output"]}
    texts = {
        "as found": "As found at five places.",
        "adjust": "Turn the zero.",
        "as left": "Again.",
    }
    for n, form in enumerate(page.context["steps"].initial_forms):
        sort = form.initial["stage"] or form.initial["kind"]
        if not form.initial["text"] and sort in texts:
            sent[f"step-{n}-text"] = texts[sort]
    answer = client.post(NEW, sent)
    assert (answer.status_code, answer.headers["Location"]) == (
        302,
        "/procedures/float-on-the-bench/",
    )
    version = Procedure.objects.get(key="float-on-the-bench").versions.get()
    keys = [step.key or step.text for step in version.steps.all()]
    begin, end = [f"A{n}" for n in range(1, 10)], [f"Z{n}" for n in range(1, 5)]
    assert keys == [*begin, *texts.values(), *end]
    # An answer keeps the name that belongs to the whole record.
    shared = ProcedureStep.objects.get(version=version, key="A8")
    assert "ambient" in [ask["name"] for ask in shared.asks]
    assert LedgerEntry.objects.get(act="publish procedure").why == "for the slop tanks"


def test_a_new_procedure_begins_as_a_copy(seeds, sign_in, approver):
    client = sign_in(approver)
    address = f"{NEW}?from=dip-check"
    sent = typed_from(client.get(address)) | {
        "name": "Dip check by night",
        "key": "dip-night",
        "reason": "x",
    }
    assert client.post(address, sent).status_code == 302
    copy, source = (
        Procedure.objects.get(key=key).versions.get() for key in ("dip-night", "dip-check")
    )
    assert copy.shape == source.shape == "as it stands only"
    assert copy.procedure.principles == source.procedure.principles
    parts = ("number", "key", "kind", "stage", "text", "settle_seconds", "asks", "stop")
    assert list(copy.steps.values(*parts)) == list(source.steps.values(*parts))
    assert client.get(f"{NEW}?from=nothing").status_code == 404


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"key": "dip-check"}, "belongs to Dip check in service"),
        ({"key": "new"}, "an address of its own"),
        ({"name": "†", "key": ""}, "No key can be made of this name"),
        ({"principles": []}, "Choose at least one principle"),
        ({"reason": ""}, "This field is required"),
        ({"shape": "test points"}, "No step reads as found"),
        ({"step-3-text": ""}, "A step needs its text"),
        ({"step-3-place": ""}, "Give its place"),
    ],
)
def test_what_is_wrong_with_a_new_one_is_said_and_stays_typed(
    seeds, sign_in, approver, typed, said
):
    client = sign_in(approver)
    address = f"{NEW}?from=dip-check"
    sent = typed_from(client.get(address)) | {"name": "Night & dip", "key": "night", "reason": "x"}
    sent |= {"step-0-text": "Ask the night shift."} | typed
    page = client.post(address, {name: value for name, value in sent.items() if value != []})
    assert page.status_code == 422
    text = page.content.decode()
    assert said in text
    assert "Ask the night shift." in text
    assert Procedure.objects.filter(key="night").count() == 0


# ---- seen first ----
def test_a_look_shows_what_would_be_published_and_stores_nothing(seeds, sign_in, approver):
    client = sign_in(approver)
    page = client.get(ADDRESS)
    sent = typed_from(page) | {"settle_seconds": 45, "step-0-text": "Permit in force.", "look": "1"}
    page = client.post(ADDRESS, sent)
    text = page.content.decode()
    assert page.status_code == 200
    assert "Preview of version 2" in text
    assert str(page.context["seen"]["change"]) == "1 step reworded; settle changed"
    assert "<ins>" in text
    assert "<del>" in text
    assert 'value="45"' in text
    assert seeds.versions.count() == 1
    assert not LedgerEntry.objects.filter(act="publish procedure").exists()
    # What was seen is then published by the other button.
    del sent["look"]
    assert client.post(ADDRESS, sent | {"reason": "slow loop"}).status_code == 302
    assert seeds.versions.first().settle_seconds == 45


def test_a_look_says_what_is_wrong(seeds, sign_in, approver):
    client = sign_in(approver)
    sent = typed_from(client.get(ADDRESS)) | {"look": "1"}
    stands = next(
        n for n, s in enumerate(seeds.versions.first().steps.all()) if s.stage == "as it stands"
    )
    page = client.post(ADDRESS, sent | {f"step-{stands}-DELETE": "on"})
    assert page.status_code == 422
    assert "one step that reads it as it stands" in page.content.decode()
    assert "Preview of version" not in page.content.decode()
    outrun = client.post(ADDRESS, sent | {"based_on": "7"})
    assert (
        outrun.status_code,
        "is already published, and this started from" in outrun.content.decode(),
    ) == (422, True)


def test_a_look_at_a_new_one_stores_nothing_and_gives_room_for_more(seeds, sign_in, approver):
    client = sign_in(approver)
    address = f"{NEW}?from=dip-check"
    page = client.get(address)
    sent = typed_from(page) | {"name": "Night dip", "look": "1"}
    count = len(page.context["steps"].initial_forms)
    for n in range(count, count + 3):
        sent |= {
            f"step-{n}-text": f"Look {n}.",
            f"step-{n}-place": f"3.{n}",
            f"step-{n}-kind": "prepare",
        }
    page = client.post(address, sent)
    text = page.content.decode()
    assert page.status_code == 200
    assert "/procedures/night-dip/" in text
    assert text.count("Look ") >= 6
    assert len(page.context["steps"].forms) == count + 6
    assert not Procedure.objects.filter(key="night-dip").exists()


# ---- what changed ----
def test_the_page_tells_what_changed_against_the_version_before_or_another(
    seeds, sign_in, approver, auditor, django_assert_max_num_queries
):
    client = sign_in(approver)
    for seconds in (40, 50):
        sent = typed_from(client.get(ADDRESS)) | {
            "settle_seconds": seconds,
            "reason": f"{seconds} s",
        }
        assert client.post(ADDRESS, sent).status_code == 302
    reader = sign_in(auditor)
    address = seeds.get_absolute_url()
    with django_assert_max_num_queries(12):
        page = reader.get(address)
    assert page.context["against"].number == 2
    assert "Settle changed" in page.content.decode()
    pieces = reader.get(f"{address}?version=3&against=1").context["change"].facts[0].pieces
    assert [(p.mark, p.text) for p in pieces] == [("removed", "30 s"), ("added", "50 s")]
    assert reader.get(f"{address}?version=1").context["change"] is None
    assert reader.get(f"{address}?against=9").status_code == 404


# ---- delivered ----
def test_an_approver_of_an_empty_book_takes_in_what_is_delivered(sign_in, approver, planner):
    client = sign_in(approver)
    assert "See the delivered procedures" in client.get("/procedures/").content.decode()
    assert (
        "See the delivered procedures" not in sign_in(planner).get("/procedures/").content.decode()
    )
    page = client.get("/procedures/delivered/").content.decode()
    assert all(each.name in page for each in delivered())
    page = client.post("/procedures/delivered/", follow=True).content.decode()
    assert "14 delivered procedures are published." in page
    assert "See the delivered procedures" not in page
    assert Procedure.objects.count() == 14
    again = client.post("/procedures/delivered/", follow=True).content.decode()
    assert "is already published here" in again


@pytest.fixture
def older():
    """The dip check as an older release delivered it, with the notice that nobody edited it."""
    text = next(each for each in delivered() if each.key == "dip-check")
    row = Procedure.objects.create(key=text.key, name=text.name, principles=text.principles)
    version = ProcedureVersion.objects.create(
        procedure=row,
        number=1,
        way=text.content.way,
        shape=text.content.shape,
        percents=text.content.percents,
        up_and_down=False,
        settle_seconds=600,
        stops=list(text.content.stops),
        reason=FIRST_REASON,
    )
    for n, step in enumerate(text.content.steps, 1):
        ProcedureStep.objects.create(
            version=version,
            number=n,
            key=step.key,
            kind=step.kind,
            stage=step.stage,
            text=step.text,
        )
    version.published_on = TODAY
    version.save()
    return row


def test_an_older_text_is_shown_against_the_delivered_one_and_followed(sign_in, approver, older):
    client = sign_in(approver)
    assert "newer delivered text is available" in folded(client.get("/procedures/"))
    address = f"{older.get_absolute_url()}delivered/"
    page = client.get(address).content.decode()
    assert "Permit number (text)" in page
    assert client.post(address, {"based_on": "x"}).status_code == 422
    assert client.post(address, {"based_on": "1"}).status_code == 302
    assert older.versions.first().number == 2
    assert "is already the delivered one" in client.get(address).content.decode()


def test_what_was_edited_here_is_left_alone(sign_in, approver, older):
    client = sign_in(approver)
    edit = f"{older.get_absolute_url()}edit/"
    sent = typed_from(client.get(edit)) | {"reason": "the night shift dips"}
    assert client.post(edit, sent).status_code == 302
    page = client.get("/procedures/delivered/").content.decode()
    assert "Edited here, not updated" in page
    assert "The night shift dips" in page
    address = f"{older.get_absolute_url()}delivered/"
    assert "Publish it" not in client.get(address).content.decode()
    page = client.post(address, {"based_on": "2"})
    assert (page.status_code, "it stays" in page.content.decode()) == (422, True)
    assert older.versions.count() == 2


# ---- own wording ----
@pytest.fixture
def worded(seeds, approver):
    return SiteWording.objects.create(
        procedure=seeds,
        site_id=approver.site_ids("see")[0],
        step_key="O4",
        devices="",
        text="Hold for 3 s.",
    )


def test_a_wording_is_changed_and_what_was_typed_stays(worded, sign_in, approver):
    client = sign_in(approver)
    address = f"/procedures/wordings/{worded.pk}/"
    seen = client.get(address).context["form"]["seen"].value()
    sent = {"seen": seen, "step_key": "O4", "devices": "R4", "text": "Hold for 5 s."}
    page = client.post(address, sent | {"step_key": "X9", "text": "Hold for 7 s."})
    assert (page.status_code, "Hold for 7 s." in page.content.decode()) == (422, True)
    assert client.post(address, sent).status_code == 302
    worded.refresh_from_db()
    assert (worded.devices, worded.text) == ("R4", "Hold for 5 s.")
    page = client.post(address, sent | {"text": "Hold for 9 s."})
    assert page.status_code == 422
    assert "Conflicting changes" in page.content.decode()
    assert "Hold for 9 s." in page.content.decode()
    assert LedgerEntry.objects.filter(act="change wording").count() == 1


def test_the_job_shows_the_wording_for_its_own_transmitter_only(worded, sign_in, technician):
    job = start(an_equipped_point(procedure_key="cap-output"), by=technician)
    hung = job.point.installations.get().transmitter
    client = sign_in(technician)
    for devices, is_there in (("", True), (f"{hung.maker}", True), ("Nobody's", False)):
        worded.devices = devices
        worded.save()
        page = client.get(job.get_absolute_url()).content.decode()
        assert ("Hold for 3 s." in page) is is_there, devices
    assert "Stop and call:" in page
