"""What changed between two versions of a procedure: steps added, removed, moved, reworded, and the
facts above them.

Pure: it knows contents, not rows. Steps are the same step where their key is, else where their text
is.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from difflib import SequenceMatcher, get_close_matches
from typing import Any

CLOSE = 0.6  # how alike two texts without a common key must be to count as one step, of 1


@dataclass(frozen=True)
class Step:
    """One step of a version to be published; fields as in ProcedureStep."""

    kind: str
    text: str
    key: str = ""
    stage: str = ""
    settle_seconds: int | None = None
    asks: Sequence[dict[str, Any]] = ()
    stop: str = ""


@dataclass(frozen=True)
class Content:
    """All that a version says; ``percents``: the test points in % of span, rising. Fields as in
    ProcedureVersion.
    """

    way: str
    percents: Sequence[Decimal]
    up_and_down: bool
    settle_seconds: int
    steps: Sequence[Step]
    shape: str = "test points"
    covers_output: bool = True
    covers_primary: bool = True
    is_check: bool = False
    adjusts: Sequence[str] = ()
    stops: Sequence[str] = ()


@dataclass(frozen=True)
class Piece:
    """A run of words: ``mark`` is "" (stays), "added" or "removed"."""

    mark: str
    text: str


@dataclass(frozen=True)
class Fact:
    """A fact that changed, its old and new words marked; ``is_list``: each piece is a member that
    came or went.
    """

    name: str
    pieces: Sequence[Piece]
    is_list: bool = False


@dataclass(frozen=True)
class StepChange:
    """One step that changed; ``number`` in the new version (None: removed), ``was`` in the old one
    (None: added).
    """

    step: Step
    number: int | None
    was: int | None
    words: Sequence[str]  # of: added, removed, moved, reworded, changed
    text: Sequence[Piece]
    facts: Sequence[Fact] = ()


@dataclass(frozen=True)
class Change:
    facts: Sequence[Fact] = ()
    steps: Sequence[StepChange] = field(default=())

    def __bool__(self) -> bool:
        return bool(self.facts or self.steps)

    def __str__(self) -> str:
        """Such as "2 steps reworded, 1 added; test points changed"."""
        counts = [
            (word, sum(word in step.words for step in self.steps))
            for word in ("reworded", "changed", "moved", "added", "removed")
        ]
        parts_changed = [f"{count} {word}" for word, count in counts if count]
        if parts_changed:
            count, _, word = parts_changed[0].partition(" ")
            parts_changed[0] = f"{count} step{'' if count == '1' else 's'} {word}"
        names = _listed([fact.name for fact in self.facts])
        parts = [", ".join(parts_changed), f"{names} changed" if names else ""]
        return "; ".join(filter(None, parts)) or "nothing changed"


def compare(old: Content, new: Content) -> Change:
    """What a reader of ``old`` must know to follow ``new``."""
    return Change(list(_facts(FACTS, old, new)), _steps(old.steps, new.steps))


def _steps(old: Sequence[Step], new: Sequence[Step]) -> list[StepChange]:
    """Those of ``new`` that changed, in its order; a removed one stands where it stood."""
    same = _pairs(old, new)
    stay = _rising([same.get(n) for n in range(len(new))])
    changes = [_change(n, same.get(n), old, new, n in stay) for n in range(len(new))]
    kept = set(same.values())
    removed = {n: step for n, step in enumerate(old) if n not in kept}
    rows: list[StepChange] = []
    for change, was in zip(changes, [same.get(n) for n in range(len(new))], strict=True):
        if was is not None:
            rows += [_gone(n, removed.pop(n)) for n in sorted(removed) if n < was]
        rows += [change] if change.words else []
    return rows + [_gone(n, removed[n]) for n in sorted(removed)]


def _pairs(old: Sequence[Step], new: Sequence[Step]) -> dict[int, int]:
    """Which step of ``new`` is which of ``old``: by key, then by the very text, then by a text much
    like it.
    """
    pairs: dict[int, int] = {}
    for alike in (_by_key, _by_text, _by_close_text):
        taken = set(pairs.values())
        left = {n: step for n, step in enumerate(old) if n not in taken}
        for n, step in enumerate(new):
            if n not in pairs and (was := alike(step, left)) is not None:
                pairs[n] = was
                del left[was]
    return pairs


def _by_key(step: Step, left: dict[int, Step]) -> int | None:
    return next((n for n, was in left.items() if step.key and was.key == step.key), None)


def _by_text(step: Step, left: dict[int, Step]) -> int | None:
    return next((n for n, was in left.items() if was.text == step.text), None)


def _by_close_text(step: Step, left: dict[int, Step]) -> int | None:
    """A step given another key counts as another step, so that only steps without a key are looked
    at.
    """
    texts = {was.text: n for n, was in left.items() if not (was.key and step.key)}
    close = get_close_matches(step.text, texts, n=1, cutoff=CLOSE)
    return texts[close[0]] if close else None


def _rising(places: Sequence[int | None]) -> set[int]:
    """The most steps that kept their order (longest rising run by patience sorting); all others
    were moved.
    """
    tails: list[int] = []
    ends: list[int] = []
    before: dict[int, int | None] = {}
    for n, place in enumerate(places):
        if place is None:
            continue
        at = bisect_left(tails, place)
        before[n] = ends[at - 1] if at else None
        tails[at : at + 1] = [place]
        ends[at : at + 1] = [n]
    kept: set[int] = set()
    here: int | None = ends[-1] if ends else None
    while here is not None:
        kept.add(here)
        here = before[here]
    return kept


def _change(
    n: int, was: int | None, old: Sequence[Step], new: Sequence[Step], stays: bool
) -> StepChange:
    step = new[n]
    if was is None:
        return StepChange(step, n + 1, None, ["added"], [Piece("added", step.text)])
    facts = list(_facts(STEP_FACTS, old[was], step))
    words = {
        "moved": not stays,
        "reworded": old[was].text != step.text,
        "changed": bool(facts),
    }
    text = list(pieces(old[was].text, step.text))
    return StepChange(step, n + 1, was + 1, [w for w, holds in words.items() if holds], text, facts)


def _gone(n: int, step: Step) -> StepChange:
    return StepChange(step, None, n + 1, ["removed"], [Piece("removed", step.text)])


def pieces(old: str, new: str) -> Iterator[Piece]:
    """``new`` word by word, with what stood in ``old`` instead."""
    if old == new:
        yield Piece("", new)
        return
    was, now = old.split(), new.split()
    matched = SequenceMatcher(None, was, now, autojunk=False)
    for tag, a, b, c, d in matched.get_opcodes():
        if tag == "equal":
            yield Piece("", " ".join(now[c:d]))
            continue
        if b > a:
            yield Piece("removed", " ".join(was[a:b]))
        if d > c:
            yield Piece("added", " ".join(now[c:d]))


# ---- facts in words ----
def _percents(content: Content) -> str:
    points = ", ".join(f"{Decimal(percent).normalize():f}" for percent in content.percents)
    return f"{points} %{', rising and falling' if content.up_and_down else ''}"


def _asks(step: Step) -> list[str]:
    return [
        f"{ask['label']}{', ' if ask['unit'] else ''}{ask['unit']} "
        f"({ask['kind']}{'' if ask['needed'] else ', optional'})"
        for ask in step.asks
    ]


def _tested(content: Content) -> str:
    named = ((content.covers_output, "output"), (content.covers_primary, "primary element"))
    parts = " and ".join(name for is_covered, name in named if is_covered)
    return f"{parts}, as a check" if content.is_check else parts


InWords = Callable[[Any], "str | list[str]"]
FACTS: dict[str, InWords] = {
    "input": lambda content: str(content.way),
    "what is read": lambda content: str(content.shape),
    "what it tests": _tested,
    "test points": _percents,
    "settle": lambda content: f"{content.settle_seconds} s",
    "what may be adjusted": lambda content: list(map(str, content.adjusts)),
    "when to stop and call for help": lambda content: list(content.stops),
}
STEP_FACTS: dict[str, InWords] = {
    "key": lambda step: step.key,
    "kind": lambda step: str(step.kind),
    "reads": lambda step: str(step.stage),
    "settle": lambda step: (
        "as the procedure says" if step.settle_seconds is None else f"{step.settle_seconds} s"
    ),
    "notes": _asks,
    "stop and call": lambda step: step.stop,
}


def _facts(words: dict[str, InWords], old: Any, new: Any) -> Iterator[Fact]:
    for name, say in words.items():
        was, now = say(old), say(new)
        if isinstance(was, list) and isinstance(now, list):
            pieces = list(_members(was, now))
        else:
            pieces = [Piece("removed", str(was)), Piece("added", str(now))] if was != now else []
        if pieces:
            yield Fact(name, [piece for piece in pieces if piece.text], isinstance(was, list))


def _members(was: list[str], now: list[str]) -> Iterator[Piece]:
    """Members of a list that came or went; those that stay are left out."""
    if was != now and sorted(was) == sorted(now):
        yield Piece("", "in another order")
    yield from (Piece("removed", member) for member in was if member not in now)
    yield from (Piece("added", member) for member in now if member not in was)


def _listed(names: Sequence[str]) -> str:
    return " and ".join(filter(None, [", ".join(names[:-1]), *names[-1:]]))
