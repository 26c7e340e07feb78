"""What a carrier may burn."""

from __future__ import annotations

from dataclasses import dataclass

from ..outcome import Margin
from .limit import Limit, LimitWords, PlanParts, in_unit


@dataclass(frozen=True, kw_only=True)
class _CarrierDeltaV(Limit):
    """Judged for each carrier, as ``carrier.NAME.delta_v``."""

    @property
    def says(self) -> dict[str, LimitWords]:
        """See `Limit`; apart from the delta-v of a craft."""
        return {self.key: self.words}

    def margins(self, parts: PlanParts) -> tuple[Margin, ...]:
        """See `Limit`."""
        return tuple(
            margin
            for one in parts.carriers
            for margin in self.nearest(
                f"carrier.{one.carrier}.delta_v", one.allowed_m_s, [(one.delta_v_m_s, one.carrier)]
            )
        )


LIMIT = _CarrierDeltaV(key="carrier.delta_v", words=in_unit("m/s", "delta-v of the carrier"))
