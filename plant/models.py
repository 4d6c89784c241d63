from plant.importing.models import ImportBatch, ImportProblem
from plant.ledger.models import LedgerEntry, RowHistory
from plant.people.models import Appointment, Person
from plant.people.roles import Role
from plant.points.models import DueCount, MeasuringPoint
from plant.product_changes.models import ProductChange
from plant.products.models import Product
from plant.sites.models import Area, Site
from plant.tanks.models import StrappingRow, Tank
from plant.transmitters.models import Installation, Principle, Transmitter

__all__ = [
    "Appointment",
    "Area",
    "DueCount",
    "ImportBatch",
    "ImportProblem",
    "Installation",
    "LedgerEntry",
    "MeasuringPoint",
    "Person",
    "Principle",
    "Product",
    "ProductChange",
    "Role",
    "RowHistory",
    "Site",
    "StrappingRow",
    "Tank",
    "Transmitter",
]
