"""One line of the benchmark table."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Row"]


@dataclass(frozen=True)
class Row:
    """A measured figure beside a reference of the same run, and the target for their ratio.

    `target` bounds the ratio from above, or the measured value where there is no reference.
    """

    name: str
    measured: float
    unit: str
    reference: float | None
    target: float

    @property
    def ratio(self) -> float | None:
        return None if not self.reference else self.measured / self.reference

    @property
    def met(self) -> bool:
        return (self.measured if self.ratio is None else self.ratio) <= self.target
