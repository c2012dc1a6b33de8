"""A router that can be rendered: invented takes whose truth is exactly known.

Nothing here was recorded. Every machine, hand, room and phone is drawn from documented ranges
(:mod:`recordings_synthetic.ranges`), rendered from first principles, and written beside the
truth it was rendered from. It stands apart from ``analysis`` and ``listen`` and imports
neither, so that it can judge them.
"""

from recordings_synthetic.shipped import ShippedTake, shipped_takes

__all__ = ["ShippedTake", "shipped_takes"]
