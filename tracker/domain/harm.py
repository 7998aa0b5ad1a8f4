"""Names of the findings that mean a pack may be harmed: rules give them, a pack's standing heeds them."""

from __future__ import annotations

TOO_DEEP = "too-deep"
DO_NOT_RECHARGE = "do-not-recharge"
CHARGED_WHEN_EMPTY = "charged-below-limit"
OVER_CHARGE_LIMIT = "over-charge-limit"
CHARGED_COLD = "charged-cold"
CHARGED_HOT = "charged-hot"

OUT_OF_USE = frozenset({DO_NOT_RECHARGE, CHARGED_WHEN_EMPTY})
"""A stop of one of these takes a pack out of use for good, whatever was done with it since."""

TO_BE_CHECKED = frozenset({TOO_DEEP, OVER_CHARGE_LIMIT, CHARGED_COLD, CHARGED_HOT})
"""A stop of one of these means: check before the pack is charged or used again."""
