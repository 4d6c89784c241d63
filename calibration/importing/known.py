"""What the register has of the tags, serial numbers, standards and procedures a file of past
calibrations names.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence
from typing import Protocol

from calibration.procedures.models import ProcedureVersion
from calibration.records.standard_uses import best_of
from calibration.standards.models import ReferenceStandard, StandardCertificate
from plant.parsers import nearest, one_of
from plant.people.models import Person
from plant.points.models import MeasuringPoint
from plant.quantities import day_text
from plant.sites.models import Site
from plant.transmitters.models import Installation, Transmitter


class Named(Protocol):
    values: dict


class Known:
    """Read once for a whole file."""

    def __init__(self, site: Site, records: Sequence[Named]) -> None:
        self.site = site
        tags = {record.values["tag"] for record in records if "tag" in record.values}
        points = MeasuringPoint.objects.filter(site=site, tag__in=tags).select_related(
            "tank__product"
        )
        self.points = {point.tag: point for point in points}
        self.installations: dict[str, list[Installation]] = defaultdict(list)
        rows = Installation.objects.filter(point__in=points).select_related("transmitter", "point")
        for row in rows.order_by("installed_on"):
            self.installations[row.point.tag].append(row)
        self.standards = {s.name: s for s in ReferenceStandard.objects.filter(site=site)}
        self.certificates: dict[int, list[StandardCertificate]] = defaultdict(list)
        certificates = StandardCertificate.objects.filter(standard__site=site)
        for certificate in certificates.order_by("-valid_until"):
            self.certificates[certificate.standard_id].append(certificate)
        self.versions: dict[str, list[ProcedureVersion]] = defaultdict(list)
        published = ProcedureVersion.objects.exclude(published_on=None).select_related("procedure")
        for version in published.order_by("-number"):
            self.versions[version.procedure.key].append(version)

    @staticmethod
    def people(site: Site) -> dict[str, int]:
        """Ids by name of those with a role at the site at any time; a name that two share stands
        for neither.
        """
        rows = Person.objects.filter(appointments__site=site).values_list("pk", "name").distinct()
        ids: dict[str, list[int]] = defaultdict(list)
        for pk, name in rows:
            ids[name.casefold()].append(pk)
        return {name: pks[0] for name, pks in ids.items() if len(pks) == 1}

    def nearest_tag(self, tag: str) -> str:
        known = MeasuringPoint.objects.filter(site=self.site).values_list("tag", flat=True)
        return nearest(tag, known[:5000])

    def installed(self, tag: str, serial: str, day: dt.date) -> Transmitter | None:
        """The transmitter of that serial number, if it was at the tag that day, or was removed on
        it.
        """
        for row in self.installations[tag]:
            was_there = _serves(row, day) or row.removed_on == day
            if row.transmitter.serial == serial and was_there:
                return row.transmitter
        return None

    def who_was_installed(self, tag: str, day: dt.date) -> str:
        """Why a serial number was refused."""
        there = [row.transmitter.serial for row in self.installations[tag] if _serves(row, day)]
        what = f"{one_of(there)} was" if there else "the register has none there that day"
        return (
            f"was not installed at {tag} on {day_text(day)}: {what}. Correct it here, or the "
            "installation in the register"
        )

    def certified(
        self,
        name: str,
        day: dt.date,
        point: MeasuringPoint | None,
        way: str | None,
        version: ProcedureVersion | None,
    ) -> tuple[ReferenceStandard, StandardCertificate] | str:
        """A standard with the certificate that covers the day, of several one that is of use in
        such a test; or the reason why there is none.
        """
        standard = self.standards.get(name)
        if standard is None:
            return f"{name} is no reference standard of this site{nearest(name, self.standards)}"
        if standard.withdrawn_on and standard.withdrawn_on <= day:
            return f"{name} was withdrawn on {day_text(standard.withdrawn_on)}"
        covering = [c for c in self.certificates[standard.pk] if _covers(c, day)]
        if covering:
            if point is None or way is None:
                return standard, covering[0]
            return standard, best_of(standard, covering, point, way, version)
        return (
            f"{name} has no certificate that covers {day_text(day)}; import the certificate of "
            "that time first"
        )

    def version(self, key: str, day: dt.date) -> ProcedureVersion | None:
        """The version of a procedure in force on a day."""
        versions = self.versions.get(key, [])
        return next((v for v in versions if v.published_on and v.published_on <= day), None)

    def why_no_version(self, key: str, day: dt.date) -> str:
        if key in self.versions:
            return (
                f"no version of {key} was published by {day_text(day)}; leave it empty if "
                "another text was followed"
            )
        return (
            f"is no procedure here; write {one_of(sorted(self.versions))}"
            if self.versions
            else "is no procedure here"
        )


def _covers(certificate: StandardCertificate, day: dt.date) -> bool:
    is_withdrawn = certificate.withdrawn_on and certificate.withdrawn_on <= day
    return certificate.issued_on <= day <= certificate.valid_until and not is_withdrawn


def _serves(row: Installation, day: dt.date) -> bool:
    return row.installed_on <= day and (row.removed_on is None or day < row.removed_on)
