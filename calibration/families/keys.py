"""Which family a transmitter belongs to.

A family is a principle, and for capacitance probes whether the liquid conducts: then the insulation
of the probe is the whole capacitor, and what drifts is another thing. The rule stands in SQL alone,
made here, since whole fleets are sorted by it in the database.
"""

from __future__ import annotations

from plant.transmitters.models import Principle

CAPACITANCE = (Principle.CAPACITANCE_ROD.value, Principle.CAPACITANCE_ROPE.value)
# Of the transmitter t: whether its family depends on the liquid.
LIQUID_MATTERS = f"t.principle IN {CAPACITANCE}"
# Of a large family a sample stands for all, always the same: the transmitters whose number times
# STRIDE leaves the least remainders by PARTS, both prime, which follow neither site nor age.
STRIDE, PARTS = 7919, 10007


def key_sql(conducts: str) -> str:
    """The key of the family of transmitter t. conducts: SQL that says whether the liquid conducts,
    NULL where no product is known.
    """
    return f"""t.principle || CASE WHEN NOT {LIQUID_MATTERS} OR {conducts} IS NULL THEN ''
        WHEN {conducts} THEN ', conducting' ELSE ', insulating' END"""


# The transmitter t now installed over a tank whose product is q.
INSTALLED = """
    FROM plant_measuringpoint p
    JOIN plant_installation i ON i.point_id = p.id AND i.removed_on IS NULL
    JOIN plant_transmitter t ON t.id = i.transmitter_id
    JOIN plant_tank k ON k.id = p.tank_id
    LEFT JOIN plant_product q ON q.id = k.product_id
"""
KEY = key_sql("q.conducts")
