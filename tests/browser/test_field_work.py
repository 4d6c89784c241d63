"""The state machine of a guided job, as the pure module it is: no page of its own, no clock, no
network.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.conf import settings

from tests.browser import field_pack as fixture
from tests.browser.field_pack import NOW

pytestmark = pytest.mark.browser

STATIC = Path(settings.BASE_DIR) / "deploy" / "static"
HOST = "https://device.example"

PLAY = """async ([job, procedure, pack, acts, now]) => {
  const { adjusting, begin, contentOf, enter, firstBefore, missing, screensOf } = await import("/field/work.js");
  const { rowsOf, stageOf, stopsOf, thirdOf } = await import("/field/judged.js");
  const { stoodFailed } = await import("/field/failure.js");
  const at = new Date(now);
  const first = begin(job, procedure, pack, at, "8d9f0f52-0000-4000-8000-000000000001");
  const later = (minutes) => new Date(at.getTime() + 60000 * minutes);
  const work = acts.reduce((work, [act, minutes = 0]) => enter(work, act, later(minutes)), first);
  const screens = screensOf(work, job, procedure);
  const readingsOf = (stage) => rowsOf(stage, work).map(({ values, isRead }) => ({ ...values, isRead }));
  return {
    screens: screens.map((screen) => screen.id),
    before: Object.fromEntries(screens.map((screen) => [screen.id, firstBefore(screen, work)?.screen.id ?? null])),
    adjusting: adjusting(work, job, procedure),
    missing: missing(work, job, procedure),
    content: JSON.parse(contentOf(work, job, procedure, pack, at, { label: "a tablet", agent: "test" })),
    found: readingsOf("found"), left: readingsOf("left"), stops: stopsOf(work), ends: stageOf("found", work).ends,
    third: thirdOf(work), stood: stoodFailed(work),
    work: JSON.parse(JSON.stringify(work)), first: JSON.parse(JSON.stringify(first)),
  };
}"""


@pytest.fixture
def play(page):
    """Plays acts on a fresh work and tells everything about it. The modules come from their files:
    no server.
    """

    def answer(route) -> None:
        path = urlsplit(route.request.url).path
        if path == "/":
            route.fulfill(body="<!doctype html><title>modules</title>", content_type="text/html")
        else:
            route.fulfill(path=STATIC / path[1:], content_type="text/javascript")

    page.route(f"{HOST}/**", answer)
    page.goto(f"{HOST}/")

    def of(
        acts: list, *, job: dict | None = None, procedure: dict | None = None, now: str = NOW
    ) -> dict[str, Any]:
        job, procedure = job or fixture.packed_job(), procedure or fixture.packed_procedure()
        timed = [act if isinstance(act, list) else [act] for act in acts]
        return page.evaluate(PLAY, [job, procedure, fixture.a_pack(job, procedure), timed, now])

    return of


def look(stage: str, n: int, part: str, text: str, at: int = 0) -> dict[str, Any]:
    return {"act": "look", "stage": stage, "n": n, "part": part, "look": at, "text": text}


def reading(stage: str, n: int, observed: str, applied: str | None = None) -> list[dict[str, Any]]:
    typed = [look(stage, n, "applied", applied)] if applied else []
    return [*typed, look(stage, n, "observed", observed)]


STANDS = reading("stands", 1, "12.016", "4.300")
CAUTIONS = [{"act": "acknowledge", "step": 1}, {"act": "acknowledge", "step": 2}]
START = [*CAUTIONS, {"act": "standard", "id": 11, "on": True}, *STANDS]
FOUND_IN = [
    act for n, mA in enumerate(["4.016", "12.016", "20.016"], 1) for act in reading("found", n, mA)
]
FOUND_BEYOND = [
    act for n, mA in enumerate(["4.12", "12.12", "20.12"], 1) for act in reading("found", n, mA)
]
LEFT = [
    act for n, mA in enumerate(["4.001", "12.001", "20.001"], 1) for act in reading("left", n, mA)
]
ZERO = {"act": "adjusted", "kind": "output trim low", "before": "4.120", "after": "4.001"}
DONE = {"act": "done", "step": 8}


def test_every_step_has_its_screen_in_order_and_the_stages_their_points(play):
    shown = play([*START, *FOUND_BEYOND, ZERO])
    assert shown["screens"] == [
        "facts", "step-1", "step-2", "step-3", "stands", "found-1", "found-2", "found-3", "found-result",
        "adjust", "left-1", "left-2", "left-3", "left-result", "step-8", "summary",
    ]  # fmt: skip


def test_as_it_stands_is_asked_even_where_a_procedure_forgot_it(play):
    bare = fixture.packed_procedure(steps=[fixture.packed_step(1, "restore", "Loop returned.")])
    shown = play([], procedure=bare)
    assert shown["screens"][:4] == ["facts", "standards", "stands", "found-1"]
    assert "left" in shown["screens"]


def test_nothing_is_read_before_the_cautions_and_nothing_before_as_it_stands(play):
    assert play([])["before"]["stands"] == "step-1"
    assert play(CAUTIONS)["before"]["found-2"] == "stands"
    assert play([*CAUTIONS, *STANDS])["before"]["found-2"] is None


def test_a_caution_and_as_it_stands_cannot_be_left_out(play):
    shown = play([
        {"act": "leave out", "step": 1, "why": "no time"},
        {"act": "leave out reading", "stage": "stands", "n": 1, "why": "no time"},
    ])  # fmt: skip
    said = {each["screen"] for each in shown["missing"]}
    assert {"step-1", "stands"} <= said


def test_adjusting_is_shut_until_the_last_as_found_reading(play):
    shown = play([*START, *FOUND_BEYOND[:-1], ZERO])
    assert not shown["adjusting"]["open"]
    assert "1 of 3 still to read" in shown["adjusting"]["why"]
    assert shown["work"]["adjustments"] == []
    assert shown["before"]["adjust"] == "found-3"
    shown = play([*START, *FOUND_BEYOND, ZERO])
    assert shown["adjusting"]["open"]
    assert not shown["adjusting"]["needsReason"]
    assert [each["kind"] for each in shown["work"]["adjustments"]] == ["output trim low"]


def test_a_stated_reason_opens_adjusting_where_as_found_cannot_be_read(play):
    why = {
        "act": "leave out reading",
        "stage": "found",
        "n": 1,
        "rest": True,
        "why": "Probe broken.",
    }
    shown = play([*START, why, ZERO, *LEFT, DONE])
    assert shown["adjusting"]["open"]
    assert shown["content"]["no_as_found_reason"] == "Probe broken."
    assert shown["missing"] == []


def test_inside_the_adjust_limit_only_a_reason_lets_it_be_adjusted(play):
    shown = play([*START, *FOUND_IN, ZERO])
    assert shown["adjusting"]["needsReason"]
    assert "within the adjust limit" in shown["adjusting"]["why"]
    assert shown["work"]["adjustments"] == []
    reason = {"act": "adjust reason", "text": "Agreed with the shift."}
    shown = play([*START, *FOUND_IN, reason, ZERO, *LEFT, DONE])
    assert shown["content"]["adjust_reason"] == "Agreed with the shift."
    assert len(shown["content"]["adjustments"]) == 1


def test_only_the_kinds_of_the_procedure_are_adjusted(play):
    shown = play([*START, *FOUND_BEYOND, {**ZERO, "kind": "span"}])
    assert shown["work"]["adjustments"] == []


def test_an_error_beyond_three_tolerances_or_in_a_failure_band_says_stop(play):
    far = [
        *START,
        *reading("found", 1, "4.6"),
        *reading("found", 2, "12.6"),
        *reading("found", 3, "20.4"),
    ]
    shown = play(far)
    assert "more than three tolerances" in shown["stops"][0]
    assert shown["adjusting"]["needsReason"]
    shown = play([*START, *reading("found", 1, "3.2")])
    assert "failure low" in shown["stops"][0]


def test_three_rounds_that_do_not_come_in_say_stop_and_no_fourth_begins(play):
    out = [act for n in (1, 2, 3) for act in reading("left", n, ["4.5", "12.5", "20.5"][n - 1])]
    shown = play(
        [
            *START,
            *FOUND_BEYOND,
            ZERO,
            *out,
            {"act": "again"},
            ZERO,
            *out,
            {"act": "again"},
            ZERO,
            *out,
            {"act": "again"},
        ]
    )
    assert shown["work"]["round"] == 3
    assert any("Three attempts" in text for text in shown["stops"])
    rounds = next(step for step in shown["content"]["steps"] if step["kind"] == "adjust")["answers"]
    assert [each["label"] for each in rounds] == ["as left of round 1", "as left of round 2"]


def test_dips_are_averaged_exactly_and_each_look_is_sent_too(play):
    dips = [
        look("stands", 1, "applied", text, n) for n, text in enumerate(["4.300", "4.301", "4.301"])
    ]
    shown = play([*dips, look("stands", 1, "observed", "12.01")])
    [reading] = shown["content"]["readings"]
    assert reading["applied"] == "4.3007"
    assert shown["content"]["steps"][3]["answers"] == [
        {"label": "reading 1, applied", "value": "4.300, 4.301, 4.301", "unit": ""}
    ]


def test_a_reading_counts_when_it_was_typed(play):
    shown = play([*START, [look("found", 2, "observed", "12.016"), 17]])
    assert shown["content"]["readings"][1]["read_at"] == "2026-05-05T08:17:00.000Z"


def test_a_level_far_below_the_range_is_no_error(play):
    shown = play([*CAUTIONS, *reading("stands", 1, "3.950", "0.000")])
    assert shown["stops"] == []
    sent = next(each for each in shown["content"]["readings"] if each["stage"] == "as it stands")
    assert (sent["applied"], sent["observed"]) == ("0.000", "3.950")


def test_a_number_that_is_none_is_not_a_reading(play):
    shown = play([*START, look("found", 1, "observed", "4,016")])
    assert not shown["found"][0]["isRead"]


def test_two_levels_give_zero_and_span_marked_as_computed(play):
    """The worked case of TRD-03: 2.150 m at 7.742 mA and 6.480 m at 16.480 mA."""
    found = [*reading("found", 1, "7.742", "2.150"), *reading("found", 2, "16.480", "6.480")]
    shown = play([*START, *found], procedure=fixture.two_levels())
    readings = [each for each in shown["content"]["readings"] if each["stage"] == "as found"]
    assert [(each["applied"], each["observed"], each["origin"]) for each in readings] == [
        ("2.150", "7.742", "read"), ("6.480", "16.480", "read"),
        ("0.3", "4.00867", "computed"), ("8.3", "20.15279", "computed"),
    ]  # fmt: skip
    assert shown["ends"]["liftAtZero"] == pytest.approx(1.489829, abs=1e-6)
    assert shown["adjusting"]["kinds"] == ["zero", "span"]


def test_the_level_as_it_stands_checks_the_line_of_the_two(play):
    found = [*reading("found", 1, "7.700", "2.150"), *reading("found", 2, "16.360", "6.480")]
    job = fixture.packed_job(kit={"11": {"fits": True, "why": "", "tur": 5.0}})
    shown = play([*START, *found], procedure=fixture.two_levels(), job=job)["third"]
    assert shown["off"] == pytest.approx(100 * 0.016 / 16)
    first = (6.480 - 4.300) / (6.480 - 2.150)
    lift = (first**2 + (1 - first) ** 2) ** 0.5
    assert shown["open"] == pytest.approx(1 / 5 * (1 + lift**2) ** 0.5)
    near = [*reading("found", 1, "12.0", "4.250"), *reading("found", 2, "16.360", "6.480")]
    assert play([*START, *near], procedure=fixture.two_levels())["third"] is None


def test_levels_too_close_together_allow_an_offset_only_and_no_verdict_at_the_ends(play):
    found = [*reading("found", 1, "10.5", "3.5"), *reading("found", 2, "12.1", "4.3")]
    shown = play([*START, *found], procedure=fixture.two_levels())
    assert shown["adjusting"]["kinds"] == ["zero"]
    assert [each["origin"] for each in shown["content"]["readings"]] == ["read"] * 3


def test_the_first_level_as_left_may_be_computed_from_the_second(play):
    found = [*reading("found", 1, "7.800", "2.150"), *reading("found", 2, "16.460", "6.480")]
    zero = {**ZERO, "kind": "zero", "before": "16.460", "after": "16.360"}
    shown = play(
        [*START, *found, zero, *reading("left", 2, "16.360", "6.480"), {"act": "compute"}],
        procedure=fixture.two_levels(),
    )
    first = next(each for each in shown["content"]["readings"] if each["stage"] == "as left")
    assert (first["sequence"], first["observed"], first["origin"]) == (1, "7.7000", "computed")


def test_a_procedure_that_only_looks_has_no_adjusting_and_its_look_is_as_found_too(play):
    shown = play([*START, {"act": "done", "step": 5}], procedure=fixture.only_looks())
    assert shown["screens"] == [
        "facts",
        "step-1",
        "step-2",
        "step-3",
        "stands",
        "step-5",
        "summary",
    ]
    assert not shown["adjusting"]["open"]
    assert [each["stage"] for each in shown["content"]["readings"]] == ["as it stands", "as found"]
    assert shown["missing"] == []


def test_a_step_left_out_carries_its_reason_and_nothing_adjusted_says_so(play):
    shown = play([*START, *FOUND_IN, {"act": "leave out", "step": 8, "why": "Loop stays open."}])
    taken = {step["number"]: step for step in shown["content"]["steps"]}
    assert taken[8]["skipped_why"] == "Loop stays open."
    assert taken[6] | {"key": ""} == {
        "number": 6,
        "key": "",
        "kind": "adjust",
        "done_at": None,
        "answers": [],
        "note": "",
        "skipped_why": "Nothing was adjusted.",
    }
    assert all(bool(step["done_at"]) != bool(step["skipped_why"]) for step in taken.values())
    assert shown["missing"] == []


def test_what_only_a_step_asks_for_may_be_chosen_with_that_procedure(play):
    shut = {"fits": False, "why": "Bond or insulation tester: not used.", "tur": None}
    job = fixture.packed_job(kit={"13": shut}, check_tools={"7": [13]})
    assert play([], job=job)["first"]["facts"]["job"]["kit"]["13"]["fits"]
    other = fixture.packed_procedure(id=8)
    assert play([], job=job, procedure=other)["first"]["facts"]["job"]["kit"]["13"] == shut


def test_the_day_is_the_day_at_the_site(play):
    job = fixture.packed_job(time_zone="Asia/Kolkata")
    assert play([], job=job, now="2026-05-05T20:00:00Z")["content"]["done_on"] == "2026-05-06"


def test_entering_leaves_the_earlier_work_as_it_was(play):
    shown = play([*START, *FOUND_BEYOND])
    assert shown["first"]["readings"] == {"stands": {}, "found": {}, "left": {}}
    assert shown["work"]["readings"]["found"]["1"]["observed"] == ["4.12"]


# ---- where no level can be known ----
NO_LEVEL = {"act": "no level", "why": " on the bench "}
DEAD = [
    *CAUTIONS,
    {"act": "standard", "id": 11, "on": True},
    NO_LEVEL,
    look("stands", 1, "observed", "3.40"),
]
NOT_FOUND = {"act": "leave out reading", "stage": "found", "n": 1, "why": "no output", "rest": True}


def test_a_failure_where_no_level_is_known_is_complete_and_carries_the_reason(play):
    shown = play([*DEAD, NOT_FOUND, DONE])
    assert shown["missing"] == []
    assert shown["content"]["readings"] == [
        {
            "stage": "as it stands", "run": 1, "sequence": 1, "rising": True, "applied": None,
            "no_level_reason": "on the bench", "observed": "3.40", "indication": None, "origin": "read",
            "read_at": shown["content"]["readings"][0]["read_at"],
        }
    ]  # fmt: skip
    assert shown["content"]["no_as_found_reason"] == "no output"
    assert shown["stood"]["head"] == "Failed as it stood"
    assert shown["stood"]["details"] == (
        "output at 3.4\xa0mA, below 3.6\xa0mA; level not known: on the bench; "
        "no as found possible: no output"
    )


def test_a_level_typed_before_gives_way_to_the_reason_and_comes_back_without_it(play):
    typed = look("stands", 1, "applied", "4.300")
    shown = play([*DEAD, typed, NOT_FOUND, DONE])
    assert shown["content"]["readings"][0]["applied"] is None
    shown = play([*DEAD, typed, {"act": "no level", "why": " "}, NOT_FOUND, DONE])
    [stands] = shown["content"]["readings"]
    assert (stands["applied"], "no_level_reason" in stands) == ("4.300", False)
    assert shown["stood"]["details"].startswith("output at 3.4")


def test_a_current_in_the_range_without_a_level_says_nothing_of_the_error(play):
    looked = [*DEAD[:-1], look("stands", 1, "observed", "13.2")]
    shown = play([*looked, *FOUND_IN, DONE])
    assert shown["missing"] == []
    assert shown["stood"] is None
    assert [r["stage"] for r in shown["content"]["readings"]] == ["as it stands", *["as found"] * 3]
    shown = play([*looked, NOT_FOUND, DONE])
    assert [one["screen"] for one in shown["missing"]] == ["summary"]
    assert "nothing read here is a result" in shown["missing"][0]["said"]


def test_what_only_looks_needs_a_level_or_a_failure(play):
    shown = play([*DEAD, {"act": "done", "step": 5}], procedure=fixture.only_looks())
    assert shown["missing"] == []
    assert [r["stage"] for r in shown["content"]["readings"]] == ["as it stands"]
    assert shown["content"]["no_as_found_reason"] == "level not known: on the bench"
    looked = [*DEAD[:-1], look("stands", 1, "observed", "13.2"), {"act": "done", "step": 5}]
    shown = play(looked, procedure=fixture.only_looks())
    assert [one["screen"] for one in shown["missing"]] == ["summary"]


def test_a_look_without_a_level_is_no_check_of_the_line(play):
    looked = [*DEAD[:-1], look("stands", 1, "observed", "12.0")]
    found = [
        look("found", n, part, text, at)
        for n, level, mA in ((1, "1.9", "7.2"), (2, "6.7", "16.8"))
        for part, text in (("applied", level), ("observed", mA))
        for at in range(3)
    ]
    assert play([*looked, *found], procedure=fixture.two_levels())["third"] is None


def test_an_error_beyond_the_tolerance_as_it_stands_is_a_result_where_nothing_more_can_be_read(
    play,
):
    """A float that is stuck: 12 mA where 16.8 are due, and a storm comes up."""
    stuck = [
        *CAUTIONS,
        {"act": "standard", "id": 11, "on": True},
        *reading("stands", 1, "12.00", "6.7"),
    ]
    shown = play([*stuck, NOT_FOUND, DONE])
    assert shown["missing"] == []
    assert shown["stood"] == {
        "head": "Out of tolerance as it stood",
        "details": "error \N{MINUS SIGN}30.00\xa0% of span; no as found possible: no output",
    }
    assert play([*stuck, *FOUND_IN, DONE])["stood"] is None
    inside = [*stuck[:3], *reading("stands", 1, "16.84", "6.7"), NOT_FOUND, DONE]
    assert [one["screen"] for one in play(inside)["missing"]] == ["summary"]
