"""The table of materials: densities, pores, repose angles and grain sizes with their sources."""

import difflib
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import cache
from pathlib import Path
from typing import Any

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.ranges import Range
from plumbstone.volumes.scape.sections import Section

MISSPELT = 0.75  # likeness of two names from which on one may be the other misspelt
MOST_LIKELY = 8  # materials offered for a description
FILLERS = frozenset(
    ["a", "an", "and", "the", "with", "of", "in", "on", "or", "like", "that"]
    + ["stone", "stones", "rock", "rocks", "wood", "root", "roots", "substrate"]
)
KINDS = ("stone", "wood", "substrate", "strip")
CLASSES = {"stone": "stone", "rock": "stone", "wood": "wood", "root": "wood"} | dict.fromkeys(
    ("soil", "substrate"), "substrate"
)
# What is believed of each kind [kg/m³]; wide bounds, common practice, no source.
DENSITIES = {"stone": (150, 9e3), "wood": (60, 1600), "substrate": (30, 9e3), "strip": (1, 2e4)}
FULLEST = 0.9  # share of a heap that grains of all sizes fill at most; common practice, no source


class UnknownMaterialError(PlumbstoneError, ValueError):
    """A material name that the table does not hold."""

    def __init__(self, name: str, known: Sequence[str]) -> None:
        self.name = name
        asked = _stems(name)
        near = [key for key in known if asked and asked <= _stems(key)]
        if not near:  # misspelt; "wood" and "stone" are alike in all names that have them
            short = {" ".join(sorted(_stems(key))): key for key in known}
            alike = difflib.get_close_matches(" ".join(sorted(asked)), short, 3, MISSPELT)
            near = [short[key] for key in alike]
        near = near or [key for key in known if _within(key, name)][:3]
        found = described(name)
        if not near and len(found) == 1:
            near = [found[0].key]
        looks = "thin pale branches" if "wood" in name.lower() else "grey with white veins"
        looks = name if found and '"' not in name else looks
        hint = f'Find it by how it looks: plumbstone materials "{looks}".'
        if near:
            hint = f"Did you mean {' or '.join(near)}?"
        super().__init__(f'"{name}" is no known material. {hint}')


@dataclass(frozen=True, slots=True)
class Material:
    """One material; fields that do not apply to its kind are None.

    Densities are in kg/m³. `density` is that of the outer envelope, dry: a stone or a
    piece of wood with its pores full of air. `grain_density` counts no pore that water
    fills in the end; for substrate it is that of a grain without its inner pores.
    """

    key: str
    kind: str
    density: Range | None = None
    grain_density: Range | None = None
    bulk_density: Range | None = None  # of the loose heap, dry, voids counted
    grain_pores: float = 0.0  # share of a grain's envelope that water fills
    repose: Range | None = None  # angle of repose [degrees]
    d15: float | None = None  # grain sizes passed by 15, 50, 85 % of the mass [m]
    d50: float | None = None
    d85: float | None = None
    settling: float = 0.0  # share of the poured depth lost within days
    crumbles: bool = False  # whether its grains break up within a year or two
    note: str = ""
    looks: str = ""  # how it looks, in the words of a shop
    test: str = ""  # how to tell it from others at home
    sources: Mapping[str, str] = field(default_factory=dict, compare=False)

    @property
    def name(self) -> str:
        """The plain trade name."""
        return self.key

    @property
    def dense(self) -> Range:
        """The same as `density` [kg/m³], of a stone or a wood, which always has one."""
        assert self.density is not None
        return self.density

    @property
    def grain_envelope_density(self) -> Range:
        """Mass of a dry grain over its envelope with inner pores [kg/m³]."""
        if self.kind == "substrate" and self.density is not None:
            return self.density
        if self.grain_density is None:
            raise ValueError(f"{self.key} has no grain density.")
        return self.grain_density.times(1 - self.grain_pores)

    def saturated_density(self, water: float) -> Range:
        """Density of a grain, or a porous stone, whose pores are full of water [kg/m³]."""
        dry = self.grain_envelope_density
        return Range(*(value + self.grain_pores * water for value in (dry.low, dry.mid, dry.high)))


@cache
def load_materials() -> Mapping[str, Material]:
    """Read the table that comes with plumbstone, by name."""
    text = Path(__file__).with_name("materials.toml").read_text(encoding="utf-8")
    return {key: _material(key, row) for key, row in tomllib.loads(text).items()}


def find_material(name: str, materials: Mapping[str, Material] | None = None) -> Material:
    """Look a material up by its name, whatever the case.

    Raises
    ------
    UnknownMaterialError
        If there is none of that name; it names the nearest ones.
    """
    known = load_materials() if materials is None else materials
    key = _plain(name)
    by_plain_name = {_plain(known_key): known_key for known_key in known}
    if key not in by_plain_name:
        raise UnknownMaterialError(name, list(known))
    return known[by_plain_name[key]]


def _plain(name: str) -> str:
    """Give a name without case, hyphens and repeated blanks."""
    return " ".join(name.lower().replace("-", " ").split())


def material_of(section: Section, materials: Mapping[str, Material], instead: str = "") -> Material:
    """Find the `material` that a table names; one without density is none where `instead` is."""
    try:
        material = find_material(section.text("material"), materials)
    except UnknownMaterialError as error:
        raise section.error("material", error.text) from None
    if instead and material.density is None:
        raise section.error("material", f"{material.name} has no density; name {instead}.")
    return material


def described(words: str) -> tuple[Material, ...]:
    """Find materials that look as somebody says: "grey limestone with white veins".

    Returns
    -------
    tuple of Material
        Those whose name and looks share most of the words, most likely first; may be empty.
        All of a class where nothing but that is said ("wood").
    """
    asked, last = _stems(words), _stems(words.split()[-1]) if words.split() else set()
    kinds = {kind for word, kind in CLASSES.items() if re.search(rf"\b{word}s?\b", words.lower())}
    scored = []
    for material in load_materials().values():
        if kinds and material.kind not in kinds:
            continue
        named, looks = _stems(material.key), _stems(material.looks or material.note)
        score = 2 * len(asked & named) + len(asked & (looks - named))
        if score or (kinds and not asked):
            scored.append((score, bool(last & named), material))
    best = max((score for score, *_ in scored), default=0)
    likely = [row for row in scored if 2 * row[0] >= best]
    likely.sort(key=lambda row: row[:2], reverse=True)
    return tuple(material for *_, material in likely[: MOST_LIKELY if asked else None])


def _stems(text: str) -> set[str]:
    """Words that tell something, without endings of the plural."""
    words = re.findall(r"[a-z]+", text.lower())
    return {word.rstrip("s") for word in words if word not in FILLERS}


def _within(key: str, text: str) -> bool:
    """Whether a telling word of a material's name stands somewhere in a text."""
    return any(len(s) > 3 and s in text.lower() for s in _stems(key))


def material_from(section: Section, known: Mapping[str, Material]) -> Material:
    """Read a user's own [[material]]: a row like another one, with some values changed.

    Keys: `name`; `like` (a known material) or `kind`; `density`, `grain_density`,
    `bulk_density` ("2650 kg/m^3", or [low, high]), `grain_pores`, `repose` (degrees, or
    [low, high]), `d15`, `d50`, `d85` ("2 mm"), `settling`, `note`.
    """
    name = section.text("name")
    like = section.text("like", None)
    try:
        base = find_material(like, known) if like else Material(name, "")
    except UnknownMaterialError as error:
        raise section.error("like", error.text) from None
    kind = section.choice("kind", KINDS, base.kind)
    if not kind:
        raise section.error("kind", f"is missing; give one of {', '.join(KINDS)}, or `like`.")
    changed: dict[str, Any] = {}
    if section.has("density") and base.grain_pores == 0:  # then its grains are as dense as it
        base = replace(base, grain_density=None) if kind == "stone" else base
    for key in ("density", "grain_density", "bulk_density"):
        changed[key] = section.range(key, "density", getattr(base, key))
        _check_density(section, key, kind, changed[key])
    for key in ("d15", "d50", "d85"):
        changed[key] = section.quantity(key, "length", getattr(base, key), least=1e-6)
    repose = section.raw("repose", None)
    material = replace(
        base,
        key=name,
        kind=kind,
        **changed,
        repose=base.repose if repose is None else _angles(section, repose),
        grain_pores=section.number("grain_pores", base.grain_pores, least=0, most=0.95, sign="%"),
        settling=section.number("settling", base.settling, least=0, most=0.5, sign="%"),
        note=section.text("note", base.note),
        sources={**base.sources, "changed": "the user's scape file"},
    )
    section.done()
    for key in needed_fields(kind):
        if getattr(material, key) is None:
            raise section.error(key, f"is missing; a {kind} needs it (or name a `like`).")
    _check_pores(section, material)
    return _with_pores(material)


def _check_density(section: Section, key: str, kind: str, density: Range | None) -> None:
    """Refuse densities that no such material has, maybe for a slip of the unit."""
    least, most = DENSITIES[kind]
    if density is not None and not least <= density.low <= density.high <= most:
        problem = f"must lie from {least:g} to {most:g} kg/m^3 for {kind}; check the unit."
        raise section.error(key, problem)


def _check_pores(section: Section, material: Material) -> None:
    """Refuse a body denser than its grains, and a heap with next to no room between them."""
    grain = material.grain_density
    if grain is None:
        return
    if material.density is not None and material.density.mid > grain.mid * (1 + 1e-9):
        raise section.error("grain_density", "is less than density, which counts the pores too.")
    bulk = material.bulk_density
    if bulk is not None and bulk.high > FULLEST * material.grain_envelope_density.mid:
        problem = "leaves no room between the grains; check it against grain_density."
        raise section.error("bulk_density", problem)


def needed_fields(kind: str) -> tuple[str, ...]:
    """Name the fields without which a material of that kind is of no use."""
    if kind == "substrate":
        return ("grain_density", "bulk_density", "repose")
    return ("density",) if kind in ("stone", "wood") else ()


def _with_pores(material: Material) -> Material:
    """Fill in a stone's open pores from its envelope and grain densities."""
    if material.kind not in ("stone", "substrate") or material.density is None:
        return material
    grain = material.grain_density or material.density
    pores = max(0.0, 1 - material.density.mid / grain.mid)
    return replace(material, grain_density=grain, grain_pores=pores)


def _angles(section: Section, value: Any) -> Range:
    """Read one angle or [low, high] in degrees, each between 5 and 60."""
    parts = value if isinstance(value, list) else [value, value]
    numbers = all(isinstance(v, (int, float)) and 5 <= v <= 60 for v in parts)
    if len(parts) != 2 or not numbers or parts[0] > parts[1]:
        raise section.error("repose", "must be an angle from 5 to 60 degrees, or [low, high].")
    return Range(float(parts[0]), sum(parts) / 2, float(parts[1]))


def _material(key: str, row: Mapping[str, Any]) -> Material:
    """Make a material of one row of the table."""
    names = {f.name for f in fields(Material)} - {"key", "sources"}
    values: dict[str, Any] = {
        k: Range(*map(float, v)) if isinstance(v, list) else v for k, v in row.items() if k in names
    }
    unknown = set(row) - names - {"source"}
    if unknown:
        raise ValueError(f"materials.toml: {key}: unknown {sorted(unknown)}")
    material = Material(key=key, sources=row["source"], **values)
    missing = [name for name in needed_fields(material.kind) if getattr(material, name) is None]
    if missing:
        raise ValueError(f"materials.toml: {key}: {missing} missing")
    return _with_pores(material)
