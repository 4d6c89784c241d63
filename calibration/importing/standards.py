"""The standards' file: a row is a reference standard with one certificate; several certificates,
several rows.
"""

from __future__ import annotations

from typing import Any

from calibration.standards.columns import CERTIFICATE, STANDARD
from calibration.standards.models import ReferenceStandard, StandardCertificate
from plant.importing.columns import Layout, Parsed
from plant.importing.importer import Change, Context, Importer, Outcome
from plant.importing.rows import Plan, put, value_text

STANDARDS = Layout(
    key=("name",), columns=(*STANDARD.columns(), *CERTIFICATE.columns()), repeats=True
)
OF_STANDARD = tuple(column.field for column in STANDARD.columns(but=("name",)))
OF_CERTIFICATE = tuple(column.field for column in CERTIFICATE.columns())
NEEDED = ("number", "laboratory", "issued_on", "valid_until")


class _Standards:
    """The site's standards and certificates, and what the file adds to them."""

    def __init__(self, parsed: Parsed, context: Context) -> None:
        self.parsed, self.context = parsed, context
        self.standards = {
            row.name: row for row in ReferenceStandard.objects.filter(site=context.site)
        }
        certificates = StandardCertificate.objects.filter(standard__site=context.site)
        self.certificates = {
            (row.standard.name, row.number): row for row in certificates.select_related("standard")
        }
        self.first_places: dict[str, int] = {}
        self.plan = Plan()
        self.added: list[StandardCertificate] = []

    def outcome(self) -> Outcome:
        outcome = Outcome(plan=(self.plan, self.added))
        for place, name in enumerate(self.parsed.column("name")):
            if name is not None:
                what, is_new = self._row(place, name)
                outcome.count(Change(self.parsed.rows[place], name, is_new, what) if what else None)
        return outcome

    def _row(self, place: int, name: str) -> tuple[dict[str, list[str]], bool]:
        standard = self.standards.get(name)
        is_new = standard is None
        if standard is None:
            standard = ReferenceStandard(site=self.context.site, name=name)
            self.standards[name] = standard
            self.plan.new.append(standard)
        if name in self.first_places:
            self._refuse_other_values(place, name)
            what = {}
        else:
            self.first_places[name] = place
            what = put(self.parsed, place, standard, OF_STANDARD)
            if what and not is_new:
                self.plan.changed.append(standard)
        certificate = self._certificate(place, standard)
        return what | certificate, is_new or (bool(certificate) and not what)

    def _refuse_other_values(self, place: int, name: str) -> None:
        first = self.first_places[name]
        for field in OF_STANDARD:
            here, there = self.parsed.column(field)[place], self.parsed.column(field)[first]
            if here is not None and here != there:
                reason = (
                    f"differs from row {self.parsed.rows[first]} of the same standard "
                    f"({value_text(there) or 'empty'})"
                )
                self.parsed.refuse(place, field, reason)

    def _certificate(self, place: int, standard: ReferenceStandard) -> dict[str, list[str]]:
        given = {name: self.parsed.column(name)[place] for name in OF_CERTIFICATE}
        given = {name: value for name, value in given.items() if value is not None}
        if not given or not self._is_whole(place, given):
            return {}
        stored = self.certificates.get((standard.name, given["number"]))
        if stored is None:
            certificate = StandardCertificate(standard=standard, **given)
            self.certificates[standard.name, given["number"]] = certificate
            self.added.append(certificate)
            return {"certificate": ["", f"{given['number']}, valid until {given['valid_until']}"]}
        self._refuse_differences(place, stored, given)
        return {}

    def _is_whole(self, place: int, given: dict[str, Any]) -> bool:
        for name in NEEDED:
            if name not in given:
                self.parsed.refuse(place, name, "is missing; a certificate needs it")
        self._refuse_wrong_days(place, given)
        self._refuse_wrong_figures(place, given)
        return all(name in given for name in NEEDED)

    def _refuse_wrong_days(self, place: int, given: dict[str, Any]) -> None:
        issued, until = given.get("issued_on"), given.get("valid_until")
        if issued and issued > self.context.today:
            self.parsed.refuse(place, "issued_on", "lies in the future")
        if issued and until and until < issued:
            self.parsed.refuse(place, "valid_until", "lies before the day of issue")

    def _refuse_wrong_figures(self, place: int, given: dict[str, Any]) -> None:
        if ("expanded_uncertainty" in given) != ("coverage_factor" in given):
            name = "coverage_factor" if "expanded_uncertainty" in given else "expanded_uncertainty"
            self.parsed.refuse(place, name, "is missing; U and k come together")
        low, high = given.get("range_low"), given.get("range_high")
        if low is not None and high is not None and low >= high:
            self.parsed.refuse(place, "range_high", "must be above the lower end of the range")

    def _refuse_differences(
        self, place: int, stored: StandardCertificate, given: dict[str, Any]
    ) -> None:
        for name, value in given.items():
            was = getattr(stored, name)
            if value != was:
                where = "the register" if stored.pk else "another row"
                reason = (
                    f"{where} has {value_text(was) or 'nothing'} for this certificate. What a "
                    "laboratory stated is not changed: withdraw it and enter the right one under "
                    "its own number"
                )
                self.parsed.refuse(place, name, reason)


def _check(parsed: Parsed, context: Context) -> Outcome:
    return _Standards(parsed, context).outcome()


def _write(parsed: Parsed, outcome: Outcome, context: Context) -> None:
    plan, added = outcome.plan
    ReferenceStandard.objects.bulk_create(plan.new, batch_size=500)
    ReferenceStandard.objects.bulk_update(plan.changed, OF_STANDARD, batch_size=500)
    for certificate in added:
        certificate.standard = certificate.standard  # takes over the id the standard has by now
    StandardCertificate.objects.bulk_create(added, batch_size=500)


STANDARD_IMPORTER = Importer(STANDARDS, _check, _write)
