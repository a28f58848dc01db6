"""What a few numbers of like coupons allow to say: mean, scatter, outliers, normality."""

from __future__ import annotations

__all__: list[str] = []
