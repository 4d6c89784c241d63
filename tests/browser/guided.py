"""A technician's hands on the guided job in a real browser: what the tests of it share."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Locator, Page, expect

from calibration.procedures.models import Procedure, ProcedureStep, ProcedureVersion
from tests.makers import LONG_AGO

STANDARDS = [
    {"name": "standards", "label": "Standards", "kind": "standards", "unit": "", "needed": True}
]
PERMIT = [{"name": "permit", "label": "Permit number", "kind": "text", "unit": "", "needed": True}]
VOLTS = [
    {
        "name": "volts",
        "label": "Voltage at the terminals",
        "kind": "number",
        "unit": "V",
        "needed": True,
    }
]

OUTPUT = [
    ("caution", "", "Permit in force, area class known.", PERMIT),
    ("caution", "", "Control room informed, loop in manual.", []),
    ("prepare", "", "Choose standards.", STANDARDS),
    ("read", "as it stands", "Output and indication against a dip, with nothing touched.", []),
    ("prepare", "", "Supply, transmitter and meter in one ring.", VOLTS),
    ("read", "as found", "Demand each current and read the loop.", []),
    ("adjust", "", "Output trim only.", []),
    ("read", "as left", "All points again.", []),
    ("restore", "", "Loop returned, meter out.", []),
    ("restore", "", "Permit closed.", []),
]
LEVELS = [
    ("caution", "", "Permit in force.", []),
    ("prepare", "", "Choose standards.", STANDARDS),
    ("read", "as it stands", "Nothing touched.", []),
    ("read", "as found", "First level.", []),
    ("prepare", "", "Transfer, then wait until the product is still.", []),
    ("read", "as found", "Second level.", []),
    ("adjust", "", "Zero, then span.", []),
    ("read", "as left", "Second level, then the first.", []),
    ("restore", "", "Loop returned.", []),
]  # fmt: skip


def publish(key: str, plan: list, **more: Any) -> ProcedureVersion:
    """A published version with steps that name their stages and what they ask for."""
    procedure = Procedure.objects.create(key=key, name=key, principles=["capacitance rod"])
    facts = {
        "way": "simulated output", "covers_primary": False,
        "percents": [Decimal(p) for p in (0, 50, 100)], "up_and_down": False,
        "settle_seconds": 0, "adjusts": ["output trim low", "output trim high"], "stops": ["Gas alarm, leak."],
        **more,
    }  # fmt: skip
    version = ProcedureVersion.objects.create(procedure=procedure, number=1, **facts)
    ProcedureStep.objects.bulk_create(
        ProcedureStep(
            version=version, number=n, key=f"K{n}", kind=kind, stage=stage, text=text, asks=asks
        )
        for n, (kind, stage, text, asks) in enumerate(plan, 1)
    )
    version.published_on = LONG_AGO  # last: the steps of a published version stay
    version.save(update_fields=["published_on"])
    return version


def without_barriers(page: Page) -> None:
    found = Axe().run(page)
    assert found.violations_count == 0, f"{page.url}\n{found.generate_report()}"


def is_wider_than_the_screen(page: Page) -> bool:
    return page.evaluate(
        "document.documentElement.scrollWidth > document.documentElement.clientWidth"
    )


# Texts that reach beyond the screen, beyond what clips them, or beyond the block, button or plate
# they stand in; and figures longer than their field.
CUT = """() => {
  const said = [];
  const beyond = (rect, box) => rect.left < box.left - 1 || rect.right > box.right + 1;
  const stands = "button, .button, .plate, .state, .choice, .tick";
  const holds = (node) => node.matches(stands) || getComputedStyle(node).overflowX !== "visible";
  const screen = { left: 0, right: document.documentElement.clientWidth };
  const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (texts.nextNode()) {
    const text = texts.currentNode;
    const from = text.parentElement;
    if (!text.data.trim() || !from.checkVisibility() || from.closest(".hide, .skip")) continue;
    const range = document.createRange();
    range.selectNodeContents(text);
    const boxes = [screen];
    if (getComputedStyle(from).display !== "inline") boxes.push(from.getBoundingClientRect());
    for (let node = from; node !== document.body; node = node.parentElement) {
      if (holds(node)) boxes.push(node.getBoundingClientRect());
    }
    for (const rect of range.getClientRects()) if (boxes.some((box) => beyond(rect, box))) said.push(text.data);
  }
  for (const input of document.querySelectorAll("input.figure")) {
    if (input.scrollWidth > input.clientWidth + 1) said.push(`${input.id} ${input.value}`);
  }
  return [...new Set(said)];
}"""


def texts_cut(page: Page) -> list[str]:
    return page.evaluate(CUT)


class Guided:
    """Drives the job; ``seen`` is called on each new screen."""

    def __init__(self, page: Page, url: str, seen: Any = None) -> None:
        self.page, self.url, self.seen = page, url, seen or (lambda page: None)

    def sign_in(self, sign_in: Any, person: Any) -> Guided:
        session = sign_in(person).cookies["sessionid"].value
        self.page.context.add_cookies([{"name": "sessionid", "value": session, "url": self.url}])
        return self

    def open(self, tag: str) -> Guided:
        self.page.goto(f"{self.url}/field/")
        self.heading("In the plant")
        self.page.get_by_role("link", name=re.compile(tag)).click()
        return self

    def begin(self, tag: str) -> Guided:
        self.open(tag).heading("The job")
        self.on("Begin")
        return self

    def heading(self, text: str) -> None:
        expect(self.page.get_by_role("heading", level=1)).to_have_text(text)
        self.seen(self.page)

    def on(self, name: str) -> None:
        self.page.get_by_role("button", name=name, exact=True).click()

    def reads(self, title: str, *, mA: str, level: str = "") -> None:  # noqa: N803 - the unit's own letters
        """Type one reading and go on."""
        self.heading(title)
        if level:
            self.page.locator("#applied-0").fill(level)
        self.page.locator("#observed-0").fill(mA)
        self.page.locator(".ways .on").click()

    def to_as_it_stands(self) -> None:
        """From the first caution of OUTPUT to the reading as it stands."""
        self.heading("Caution")
        self.page.get_by_label("Permit number").fill("P-2231")
        self.on("I acknowledge this")
        expect(self.page.get_by_text("Control room informed")).to_be_visible()
        self.on("I acknowledge this")
        self.heading("Standards")
        self.page.get_by_role("checkbox", name=re.compile("MM-01")).check()
        self.page.locator(".ways .on").click()

    def prepare(self) -> None:
        """From the first caution of OUTPUT to its first as-found point."""
        self.to_as_it_stands()
        self.reads("As it stands", mA="12.120", level="4.300")
        self.heading("Prepare")
        self.page.get_by_label("Voltage").fill("18.2")
        self.on("Done")

    def restore(self) -> None:
        for text in ("Loop returned", "Permit closed"):
            expect(self.page.get_by_text(text)).to_be_visible()
            self.on("Done")
        self.heading("Summary")

    def finds_it_right(self) -> None:
        """Three as-found readings close by, nothing adjusted, restored, signed and handed back."""
        for n, current in enumerate(("4.016", "12.016", "20.016")):
            self.reads(f"As found, {50 * n}\u00a0%", mA=current)
        self.leave_alone()
        self.sign()
        self.heading("Handed back")

    def leave_alone(self) -> None:
        """From the last as-found point to the summary, nothing adjusted."""
        self.on("Next: adjust")
        self.on("Nothing adjusted: next")
        self.page.locator(".ways .on").click()
        self.restore()

    def adjusts_and_hands_back(self) -> None:
        """As found beyond the adjust limit, both ends trimmed, as left right, signed and handed
        back.
        """
        for n, current in enumerate(("4.120", "12.123", "20.089")):
            self.reads(f"As found, {50 * n}\u00a0%", mA=current)
        self.heading("As found: result")
        self.on("Next: adjust")
        self.heading("Adjust")
        for before, after in (("4.120", "4.001"), ("20.089", "20.001")):
            self.page.locator("#before").fill(before)
            self.page.locator("#after").fill(after)
            self.on("Save this adjustment")
        self.page.locator(".ways .on").click()
        for n, current in enumerate(("4.001", "12.001", "20.001")):
            self.reads(f"As left, {50 * n}\u00a0%", mA=current)
        self.heading("As left: result")
        self.page.locator(".ways .on").click()
        self.restore()
        self.sign()
        self.heading("Handed back")

    def sign(self) -> None:
        self.on("Make it ready to sign")
        self.heading("Sign and send")
        self.page.get_by_label("Password of").fill("correct horse")
        self.on("Sign and send")

    def tab_to(self, target: Locator) -> None:
        """With the keyboard alone: Tab until the target has the focus."""
        for _ in range(60):
            if target.evaluate("node => node === document.activeElement"):
                return
            self.page.keyboard.press("Tab")
        raise AssertionError(f"the Tab key never comes to {target}")

    def press_on(self) -> None:
        self.tab_to(self.page.locator(".ways .on"))
        self.page.keyboard.press("Enter")
