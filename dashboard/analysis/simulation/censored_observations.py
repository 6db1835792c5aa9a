"""Hours so far of lines that are not finished, with what was stated of their progress."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from dashboard.analysis.arrays import Flags, Floats, Integers


@dataclass(frozen=True, slots=True, kw_only=True)
class CensoredObservations:
    """Right-censored hours of n lines, with what was stated of their progress.

    An open line says hours > so_far, with probability 1 - F(so_far): J. P. Klein, M. L. Moeschberger,
    "Survival Analysis" (2003), section 3.5. Example: `CensoredObservations.none(3)` of lines not begun.

    Attributes
    ----------
    so_far : (n,) hours; nought: not begun.
    all_done : (n,) it was said to be all done with its last hours: stays as it is.
    stated_at_hours : (n,) hours it had taken when it was last said how far it is;
    stated_share : (n,) the share of its hours that had passed by that;
    stated_sd : (n,) standard deviation of the log odds of that share; not a number: nobody said.
    whole_sd : (n,) standard deviation of the log of all there is to treat, where it was said by how much was
        treated; else nought.
    goes_on : (n,) chance that a line stands open because more is to come; else nobody has said yet whether it
        is finished, and it ends where such lines end, or just here where it is beyond that.
    left : (n,) left for weeks while the work went on.
    whole : (n,) all that was quoted was treated with its last hours: it goes on only where there is more to
        treat than that.
    """

    so_far: Floats
    all_done: Flags
    stated_at_hours: Floats
    stated_share: Floats
    stated_sd: Floats
    whole_sd: Floats
    goes_on: Floats
    left: Flags
    whole: Flags

    @classmethod
    def none(cls, n: int) -> CensoredObservations:
        """Of lines of which none was begun."""
        nothing, no = np.full(n, np.nan), np.zeros(n, dtype=bool)
        return cls(
            so_far=np.zeros(n),
            all_done=no,
            stated_at_hours=nothing,
            stated_share=nothing,
            stated_sd=nothing,
            whole_sd=np.zeros(n),
            goes_on=np.ones(n),
            left=no,
            whole=no,
        )

    def take(self, which: Flags | Integers) -> CensoredObservations:
        return CensoredObservations(
            **{field.name: getattr(self, field.name)[which] for field in fields(self)}
        )

    def join(self, other: CensoredObservations) -> CensoredObservations:
        return CensoredObservations(
            **{
                field.name: np.concatenate([getattr(self, field.name), getattr(other, field.name)])
                for field in fields(self)
            }
        )

    @property
    def part(self) -> Floats:
        """(n,) how far each line is, as far as anybody said."""
        values: Floats = np.where(self.all_done | self.whole, 1.0, np.nan_to_num(self.stated_share))
        return values
