"""Common woods, boards and plastics, by name.

Densities (kg/m3 at 12 % moisture) and side hardness (Janka, N) are typical figures of the
kind printed in wood handbooks [memory]; a board on the bench may be 15 % off either way.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass

from analysis.cutting.bands import MaterialClass
from analysis.errors import InputError


@dataclass(frozen=True, slots=True)
class Material:
    """What the edge is made of.

    `hardness_n` is None for boards and plastics. `grained` is true for solid wood.
    """

    name: str
    kind: MaterialClass
    density_kg_m3: float
    hardness_n: float | None

    @property
    def grained(self) -> bool:
        return self.kind in (MaterialClass.HARDWOOD, MaterialClass.SOFTWOOD)


_H, _S, _P = MaterialClass.HARDWOOD, MaterialClass.SOFTWOOD, MaterialClass.HARD_PLASTIC

# The first rows carry the names of the classes: what to take when only the class is known.
_ROWS: tuple[tuple[str, MaterialClass, float, float | None], ...] = (
    ("hardwood", _H, 690, 5800),
    ("softwood", _S, 480, 2200),
    ("plywood", MaterialClass.PLYWOOD, 620, None),
    ("MDF", MaterialClass.MDF, 740, None),
    ("particle board", MaterialClass.PARTICLE_BOARD, 660, None),
    ("hard plastic", _P, 1190, None),
    ("alder", _H, 460, 2600),
    ("ash", _H, 670, 5900),
    ("basswood", _H, 415, 1800),
    ("beech", _H, 720, 6200),
    ("birch", _H, 690, 5600),
    ("cherry", _H, 560, 4200),
    ("hickory", _H, 810, 8100),
    ("mahogany", _H, 560, 3600),
    ("hard maple", _H, 705, 6400),
    ("soft maple", _H, 605, 4200),
    ("red oak", _H, 705, 5700),
    ("white oak", _H, 760, 6000),
    ("poplar", _H, 470, 2400),
    ("teak", _H, 655, 4700),
    ("walnut", _H, 615, 4500),
    ("cedar", _S, 360, 1600),
    ("Douglas fir", _S, 540, 3200),
    ("larch", _S, 590, 3700),
    ("Scots pine", _S, 510, 2400),
    ("southern yellow pine", _S, 570, 3100),
    ("white pine", _S, 390, 1700),
    ("redwood", _S, 450, 2100),
    ("spruce", _S, 450, 1900),
    ("birch plywood", MaterialClass.PLYWOOD, 680, None),
    ("softwood plywood", MaterialClass.PLYWOOD, 550, None),
    ("HDF", MaterialClass.MDF, 860, None),
    ("laminated particle board", MaterialClass.PARTICLE_BOARD, 690, None),
    ("acrylic", _P, 1190, None),
    ("polycarbonate", _P, 1200, None),
    ("rigid PVC", _P, 1400, None),
)
MATERIALS: tuple[Material, ...] = tuple(
    Material(name=name, kind=kind, density_kg_m3=density, hardness_n=hardness)
    for name, kind, density, hardness in _ROWS
)
_OTHER_NAMES = {
    "chipboard": "particle board",
    "fibreboard": "MDF",
    "fiberboard": "MDF",
    "lime": "basswood",
    "linden": "basswood",
    "maple": "hard maple",
    "oak": "white oak",
    "pine": "Scots pine",
    "plastic": "hard plastic",
    "ply": "plywood",
    "fir": "Douglas fir",
    "tulipwood": "poplar",
    "yellow poplar": "poplar",
}


def _key(name: str) -> str:
    return " ".join(name.casefold().replace("-", " ").replace("_", " ").split()).replace(
        "particleboard", "particle board"
    )


_BY_KEY = {_key(material.name): material for material in MATERIALS}
_BY_KEY |= {_key(other): _BY_KEY[_key(name)] for other, name in _OTHER_NAMES.items()}


def material_named(name: str) -> Material:
    """The material of that name; case, hyphens and spaces do not matter.

    >>> material_named("Oak").name
    'white oak'
    >>> material_named("mdf").kind.value
    'MDF'

    Raises
    ------
    InputError
        If the name is not in the table; the message offers the nearest ones.
    """
    key = _key(name)
    if key in _BY_KEY:
        return _BY_KEY[key]
    near = difflib.get_close_matches(key, _BY_KEY, n=3, cutoff=0.6)
    offered = near or [_key(kind.value) for kind in MaterialClass]
    raise InputError("material", name, f"one that is in the table, such as {', '.join(offered)}")
