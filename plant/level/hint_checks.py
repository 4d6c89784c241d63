"""What to check for each pattern of readings that do not fit, most likely first.

Common practice, no source.
"""

from __future__ import annotations

CAPACITANCE = frozenset({"capacitance rod", "capacitance rope"})
PRESSURE = frozenset({"hydrostatic", "differential pressure"})
ECHO = frozenset({"radar", "guided wave", "ultrasonic"})
MOVING = frozenset({"displacer", "magnetostrictive", "float"})


# Each check with the principles it applies to; None for all.
CHECKS: dict[str, tuple[tuple[str, frozenset[str] | None], ...]] = {
    "P1": (
        ("check tag and channel: is this the transmitter that is read?", None),
        ("check that the output is not left in simulation or manual", None),
        ("check the probe's cable for a break", CAPACITANCE),
        ("check whether the float is stuck or has sunk", MOVING),
        ("check that the impulse valve is open", PRESSURE),
        ("check the echo curve: locked on a fixed echo?", ECHO),
    ),
    "P2": (
        ("check whether reverse action (ullage) is set", None),
        ("check that the high and low tappings are not swapped", PRESSURE),
        ("check that the zero and span points were not exchanged", None),
    ),
    "P3 low": (
        ("check the device's own message", None),
        ("check sensor and cable for a break", None),
        ("check the voltage at the terminals: too low?", None),
    ),
    "P3 high": (
        ("check the device's own message", None),
        ("check the probe's insulation for a pinhole where the liquid conducts", CAPACITANCE),
        ("check head and terminal box for water", None),
        ("check the probe for a short circuit", CAPACITANCE),
        ("check for a leak across the terminals", None),
    ),
    "P4": (
        ("check supply voltage and loop resistance: enough volts at the transmitter?", None),
        ("check whether a meter or barrier was added to the loop", None),
    ),
    "P5": (
        ("check the probe for a film or build-up", CAPACITANCE),
        ("check diaphragm and wet leg", PRESSURE),
        ("check mounting height and datum: has one changed?", None),
        ("check the meter's zero", None),
    ),
    "P6": (
        ("check the permittivity: product, temperature, water?", CAPACITANCE),
        ("check the entered density against today's", PRESSURE | MOVING),
        ("check gas temperature and speed of sound", frozenset({"ultrasonic"})),
        ("check the entered tank height", ECHO),
        ("check the 250 Ω resistor", None),
    ),
    "P7": (
        (
            "check the bond from the transmitter's reference to the tank: broken, corroded, paint?",
            None,
        ),
        ("check a non-conducting tank for its reference electrode: connected, and wet?", None),
        ("check whether the reading moves when tank or cable is touched, or with rain", None),
    ),
    "P8": (
        (
            "check drain time: warm, wait, clean; do not hide it by a zero adjustment",
            CAPACITANCE | ECHO,
        ),
        ("check for friction, dirt or a bent hanger", MOVING),
        ("check that the product was at rest before each reading", None),
    ),
    "P9": (
        ("check for a false echo, an agitator blade or the near zone", ECHO),
        ("check that the screen is earthed at one end only", None),
        ("check for a shared negative wire and a bad bond", None),
        ("check that damping is on", None),
    ),
    "P10 primary": (
        ("check the primary element and the product's data", None),
        ("check that the output is not trimmed to correct it", None),
    ),
    "P10 output": (
        ("check output stage, 250 Ω resistor and meter", None),
        ("check the output trim; leave tank zero and span alone", None),
    ),
}
