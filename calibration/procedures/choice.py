"""Which procedure a job follows: the point's own, else the one that suits the transmitter's
principle best.
"""

from __future__ import annotations

from collections.abc import Sequence

from calibration.procedures.models import InputWay, ProcedureVersion
from plant.points.models import MeasuringPoint
from plant.transmitters.models import Transmitter


def newest_of(every: Sequence[ProcedureVersion]) -> list[ProcedureVersion]:
    """The newest version of each procedure; ``every``: by procedure, newest first."""
    return [v for n, v in enumerate(every) if n == 0 or every[n - 1].procedure_id != v.procedure_id]


def fitting(
    newest: Sequence[ProcedureVersion], point: MeasuringPoint, transmitter: Transmitter | None
) -> list[ProcedureVersion]:
    """Those made for the point or for the transmitter's principle, the default first."""
    own = [v for v in newest if v.procedure.key == point.procedure_key]
    principle = transmitter.principle if transmitter else None
    suiting = [v for v in newest if principle in v.procedure.principles and v not in own]
    return [*own, *sorted(suiting, key=_fit)]


def _fit(version: ProcedureVersion) -> tuple[int, bool, int]:
    """The best first: made for few principles, and testing more than the output alone."""
    only_output = version.way == InputWay.SIMULATED_OUTPUT
    return len(version.procedure.principles), only_output, version.procedure_id
