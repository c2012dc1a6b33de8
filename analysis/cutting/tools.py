"""The bit, the router and the piece of work, as a woodworker would describe them.

None means "not told"; what needs it is then left out, and the plan says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from analysis.cutting.geometry import chip_thinning, require_positive
from analysis.cutting.materials import Material
from analysis.errors import InputError

SMALLEST_BIT_MM = 3.0
"""The smallest bit in common use by hand [common practice]; it leaves corners of half that."""


FASTEST_RPM = 50_000.0
"""No hand-fed router turns faster [common practice]."""


class Trouble(Enum):
    """Why bit, router and work cannot go together."""

    TRIM_TOO_WIDE = "the trim is wider than the bit"
    FLUTES_TOO_SHORT = "the flutes are shorter than the wood is thick"
    CORNER_TOO_TIGHT = "no bit reaches the inside corner"
    MARKED_TOO_SLOW = "the router's slowest speed is above the bit's marked maximum"


class JobError(InputError):
    """Bit, router and work that cannot go together, and why."""

    def __init__(self, trouble: Trouble, what: str, value: object, allowed: str) -> None:
        super().__init__(what, value, allowed)
        self.trouble = trouble


class BitStyle(Enum):
    """How the flutes run."""

    UP_CUT = "up-cut"
    DOWN_CUT = "down-cut"
    COMPRESSION = "compression"
    STRAIGHT = "straight"
    PROFILE = "profile"


class BitBody(Enum):
    """What the bit is made of."""

    CARBIDE = "solid carbide"
    BRAZED = "steel with carbide edges"
    STEEL = "high-speed steel"


class Guide(Enum):
    """What follows the template."""

    NONE = "none"
    TIP = "bearing at the tip"
    SHANK = "bearing at the shank"


class Sharpness(Enum):
    """State of the cutting edges."""

    FRESH = "fresh"
    USED = "used"
    DULL = "dull"


class Mounting(Enum):
    """How the router is used."""

    HAND = "hand-held"
    TABLE = "in a table"


class Grain(Enum):
    """How the fibres run along the edge that is cut."""

    ALONG = "along"
    AGAINST = "against"
    END = "end"
    NONE = "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class Bit:
    """A router bit. `max_rpm` is the maximum marked on it."""

    diameter_mm: float
    flutes: int
    style: BitStyle
    body: BitBody
    guide: Guide
    sharpness: Sharpness
    shank_mm: float | None
    cutting_length_mm: float | None
    stick_out_mm: float | None
    max_rpm: float | None

    def __post_init__(self) -> None:
        require_positive(bit_diameter=self.diameter_mm, flutes=self.flutes)
        for what, value in (
            ("shank diameter", self.shank_mm),
            ("cutting length", self.cutting_length_mm),
            ("stick-out", self.stick_out_mm),
            ("marked maximum", self.max_rpm),
        ):
            if value is not None:
                require_positive(**{what: value})
        if self.max_rpm is not None and self.max_rpm > FASTEST_RPM:
            raise InputError("marked maximum (rpm)", self.max_rpm, f"at most {FASTEST_RPM:,.0f}")
        if (
            self.stick_out_mm is not None
            and self.cutting_length_mm is not None
            and self.stick_out_mm < self.cutting_length_mm
        ):
            raise InputError(
                "stick-out (mm)",
                self.stick_out_mm,
                f"at least the cutting length ({self.cutting_length_mm:g} mm): flutes do not "
                "belong in the collet",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Router:
    """A router. `plate_range_rpm` is its no-load range, `input_power_w` what the plate says."""

    mounting: Mounting
    plate_range_rpm: tuple[float, float] | None
    input_power_w: float | None
    mains_hz: float | None

    def __post_init__(self) -> None:
        if self.plate_range_rpm is not None:
            low_rpm, high_rpm = self.plate_range_rpm
            require_positive(lowest_speed=low_rpm, highest_speed=high_rpm)
            if low_rpm > high_rpm:
                raise InputError("speed range", self.plate_range_rpm, "lowest speed first")
            if high_rpm > FASTEST_RPM:
                raise InputError("highest speed (rpm)", high_rpm, f"at most {FASTEST_RPM:,.0f}")
        if self.input_power_w is not None:
            require_positive(input_power=self.input_power_w)


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """The edge to be cut. `trim_allowance_mm` is the bit's diameter for a buried bit."""

    material: Material
    grain: Grain
    trim_allowance_mm: float
    thickness_mm: float | None
    edge_length_mm: float | None
    inside_radius_mm: float | None

    def __post_init__(self) -> None:
        require_positive(trim_allowance=self.trim_allowance_mm)
        for what, value in (
            ("thickness", self.thickness_mm),
            ("edge length", self.edge_length_mm),
            ("inside corner radius", self.inside_radius_mm),
        ):
            if value is not None:
                require_positive(**{what: value})


@dataclass(frozen=True, slots=True)
class Job:
    """Bit, router and work together.

    Raises
    ------
    JobError
        If they cannot go together: a trim wider than the bit, flutes shorter than the wood is
        thick, a corner that no bit reaches, a marked maximum below the router's slowest speed.
    """

    bit: Bit
    router: Router
    work: Work

    def __post_init__(self) -> None:
        bit, work = self.bit, self.work
        if work.trim_allowance_mm > bit.diameter_mm:
            raise JobError(
                Trouble.TRIM_TOO_WIDE,
                "trim allowance (mm)",
                work.trim_allowance_mm,
                f"at most the bit's diameter ({bit.diameter_mm:g} mm)",
            )
        if (
            bit.cutting_length_mm is not None
            and work.thickness_mm is not None
            and bit.cutting_length_mm < work.thickness_mm
        ):
            raise JobError(
                Trouble.FLUTES_TOO_SHORT,
                "cutting length (mm)",
                bit.cutting_length_mm,
                f"at least the thickness that is cut ({work.thickness_mm:g} mm)",
            )
        if work.inside_radius_mm is not None and work.inside_radius_mm < SMALLEST_BIT_MM / 2:
            raise JobError(
                Trouble.CORNER_TOO_TIGHT,
                "inside corner radius (mm)",
                work.inside_radius_mm,
                f"at least {SMALLEST_BIT_MM / 2:g}, half the smallest common bit",
            )
        if (
            bit.max_rpm is not None
            and self.router.plate_range_rpm is not None
            and bit.max_rpm < self.router.plate_range_rpm[0]
        ):
            raise JobError(
                Trouble.MARKED_TOO_SLOW,
                "marked maximum (rpm)",
                bit.max_rpm,
                f"at least the router's slowest speed ({self.router.plate_range_rpm[0]:,.0f})",
            )

    @property
    def thinning(self) -> float:
        """Chip thickness over feed per tooth."""
        return chip_thinning(
            trim_allowance_mm=self.work.trim_allowance_mm, bit_diameter_mm=self.bit.diameter_mm
        )
