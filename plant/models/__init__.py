from plant.models.change import ProductChange
from plant.models.importing import ImportBatch, ImportProblem
from plant.models.ledger import LedgerEntry, RowHistory
from plant.models.person import Appointment, Person, Role
from plant.models.place import Area, Site, StrappingRow, Tank
from plant.models.point import DueCount, DueState, MeasuringPoint, due_state
from plant.models.product import Product
from plant.models.transmitter import Installation, Principle, Transmitter

__all__ = [
    "Appointment",
    "Area",
    "DueCount",
    "DueState",
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
    "due_state",
]
