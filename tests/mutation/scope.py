"""Which modules are tested by mutation, in groups that the summary names."""

from __future__ import annotations

from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
DATA = ROOT / ".spanbook" / "mutation"

# Variables of the environment for a run of pytest: where to write the lines that tests run, where
# the results of mutants are, and which single mutant to load.
COVERING, RESULTS, MUTANT = "SPANBOOK_COVERING", "SPANBOOK_MUTATION", "SPANBOOK_MUTANT"

GROUPS = {
    "level": ("plant/level/*.py",),
    "metrology": ("calibration/metrology/*.py",),
    "judging": (
        "calibration/records/judging.py",
        "calibration/records/figures.py",
        "calibration/records/patterns.py",
        "calibration/records/budgets.py",
        "calibration/records/*_parts.py",
        "calibration/records/computed_readings.py",
    ),
    "due dates": (
        "calibration/intervals/due_dates.py",
        "calibration/intervals/methods.py",
        "calibration/intervals/proposals.py",
        "calibration/due/reads.py",
    ),
    "reminders": (
        "calibration/reminders/acts.py",
        "calibration/reminders/lines.py",
        "calibration/reminders/mail.py",
        "calibration/reminders/outbox.py",
    ),
    "findings": ("calibration/findings/acts.py",),
    "drift": (
        "calibration/drift/acts.py",
        "calibration/drift/histories.py",
        "calibration/drift/reads.py",
        "calibration/drift/results.py",
        "calibration/drift/rows.py",
        "calibration/drift/stages.py",
        "calibration/drift/trends.py",
    ),
    "history": (
        "calibration/history/as_it_stood.py",
        "calibration/history/filters.py",
        "calibration/history/versions.py",
    ),
    "other acts": (
        "plant/*/acts.py",
        "calibration/*/acts.py",
        "calibration/*/*_acts.py",
        "calibration/procedures/delivered.py",
    ),
}
# The tests that may notice; each mutant is given those of them that run it.
TESTS = (
    "plant",
    "calibration",
    "tests/plant",
    "tests/calibration",
    "tests/published",
    "tests/test_ledger_of_acts.py",
    "tests/test_rights_of_acts.py",
    "tests/test_transactions.py",
)


def modules() -> dict[str, str]:
    """Every module by its path from the root, with the first group that names it."""
    found: dict[str, str] = {}
    for group, globs in GROUPS.items():
        for glob in globs:
            paths = sorted(ROOT.glob(glob))
            if not paths:
                raise FileNotFoundError(f"{group}: no module is at {glob}")
            for path in paths:
                if path.name != "__init__.py":
                    found.setdefault(path.relative_to(ROOT).as_posix(), group)
    return found


def module_name(path: str) -> str:
    return path.removesuffix(".py").replace("/", ".")
