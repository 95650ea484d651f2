"""Scapes made by chance: stones, wood on them, and what is hung on that."""

from collections.abc import Sequence

import numpy as np

from plumbstone.volumes.bodies.placement import Body


def scape_text(rng: np.random.Generator, *, calm: bool = False) -> tuple[str, float]:
    """Write a scape by chance, without its group: TOML, and the level of the soil [m]."""
    soil = 0.04 if rng.uniform() < 0.3 else 0.0
    parts = [
        '[tank]\ninside = ["60 cm", "36 cm", "40 cm"]\nwater_line = "36 cm"\n'
        'temperature = "25 °C"\n'
    ]
    ground = "bed" if soil else "floor"
    stones = int(rng.integers(0, 3)) if not soil else 0
    where = rng.uniform([22, 14], [38, 22])
    if calm and stones == 2:
        parts += _careless_stones(rng, where)
    else:
        parts += _scattered_stones(rng, stones, where, calm=calm)
    rests = (
        f"Stone {int(rng.integers(0, stones))}"
        if stones and (calm or rng.uniform() < 0.85)
        else ground
    )
    parts.append(_wood(rng, rests, where, calm=calm))
    if soil:
        parts.append('[[layer]]\nname = "Soil"\nmaterial = "sand"\nheight = "4 cm"\n')
    return "".join(parts), soil


def _scattered_stones(
    rng: np.random.Generator, count: int, where: np.ndarray, *, calm: bool
) -> list[str]:
    """Write some stones in a row."""
    forms, parts = ["box", "slab"] if calm else ["box", "slab", "ellipsoid", "boulder"], []
    for k in range(count):
        solid = rng.choice(forms)
        size = rng.uniform([8, 7, 3], [16, 12, 9])
        at = where + (k - (count - 1) / 2) * np.array([17.0, rng.uniform(-2, 2)])
        parts.append(_stone(rng, k, str(solid), size, at, rng.uniform(0, 180)))
    return parts


def _careless_stones(rng: np.random.Generator, where: np.ndarray) -> list[str]:
    """Write two stones side by side as one types them: up to 2 mm too near, too far, too high."""
    solid = str(rng.choice(["box", "slab", "boulder"]))
    size = rng.uniform([8, 8, 3], [14, 14, 8])
    apart = size[0] + rng.uniform(-0.2, 0.2)
    return [
        _stone(rng, k, solid, size + [0, 0, k * rng.uniform(-0.2, 0.2)], where + [off, 0], 0.0)
        for k, off in enumerate((-apart / 2, apart / 2))
    ]


def _stone(
    rng: np.random.Generator, k: int, solid: str, size: np.ndarray, at: np.ndarray, turn: float
) -> str:
    """Write one stone."""
    return (
        f'[[piece]]\nname = "Stone {k}"\nmaterial = "{rng.choice(["granite", "basalt"])}"\n'
        f'solid = "{solid}"\nsize = {_lengths(size)}\nat = {_lengths(at)}\n'
        f"turn = {turn:.1f}\nseed = {int(rng.integers(0, 99))}\n"
    )


def _wood(rng: np.random.Generator, rests: str, at: np.ndarray, *, calm: bool) -> str:
    """Write one piece of wood by chance."""
    forms = ["box", "slab", "boulder", "cylinder", "ellipsoid", "limb", "fork", "fork"]
    kind = rng.choice(forms[:4] if calm else forms)
    lines = [
        f'[[piece]]\nname = "Wood"\nkind = "wood"\nmaterial = "driftwood"\nrests = "{rests}"\n'
    ]
    if kind in ("limb", "fork"):
        lengths = rng.uniform(14, 26, 3)
        heights = rng.uniform(0, 10, 3)
        paths = [
            [
                [0, 0, 2],
                [lengths[0] / 2, rng.uniform(-2, 2), 2 + heights[0] / 2],
                [lengths[0], 0, 2 + heights[0]],
            ]
        ]
        if kind == "fork":
            paths.append([[2, 0, 2], [-lengths[1] / 2, lengths[1] / 2, 2 + heights[1] / 2]])
            paths.append([[2, 0, 2], [-lengths[2] / 3, -lengths[2] / 2, 2 + heights[2] / 3]])
        limbs = ", ".join(
            f"{{ path = [{', '.join(_lengths(p) for p in path)}], "
            f'girth = ["{rng.uniform(8, 14):.2f} cm", "{rng.uniform(5, 8):.2f} cm"] }}'
            for path in paths
        )
        lines.append(f"limbs = [{limbs}]\n")
    else:
        size = rng.uniform([14, 5, 3], [30, 10, 7])
        if kind == "cylinder":
            size = rng.uniform([5, 5, 6], [9, 9, 16])
        lines.append(f'solid = "{kind}"\nsize = {_lengths(size)}\n')
        lines.append(f"seed = {int(rng.integers(0, 99))}\n")
        if not calm and rng.uniform() < 0.25:
            lines.append(f"tilt = {rng.uniform(0, 25):.1f}\nlean = {rng.uniform(0, 360):.1f}\n")
    reach = 2 if calm or rests == "floor" else 4
    off = rng.uniform(-reach, reach, 2)
    lines.append(f"at = {_lengths(at + off)}\nturn = {rng.uniform(0, 180):.1f}\n")
    if rng.uniform() < 0.6:
        lines.append("settle = true\n")
    return "".join(lines)


def group_text(rng: np.random.Generator, wood: Body, *, calm: bool = False) -> str:
    """Write the group of the wood: one to three sinkers of any kind, at places on the wood."""
    corners = wood.piece.vertices
    count = int(rng.choice([1, 2, 3] if calm else [0, 1, 1, 2, 2, 3]))
    lift = max(0.08, wood.volume.high * 998 - wood.mass.low)
    entries = []
    for _ in range(count):
        how = rng.choice(["strapped", "hanging", "standing", "laid on"])
        low, high = corners.min(axis=0), corners.max(axis=0)
        place = corners[rng.integers(len(corners))]
        if calm:  # below the middle
            place = np.append((low + high)[:2] / 2 + rng.normal(0, 0.008, 2), low[2] + 0.01)
        elif rng.uniform() < 0.6:
            aim = (low + high) / 2 + rng.normal(0, 0.04, 3)
            place = corners[int(np.linalg.norm(corners - aim, axis=1).argmin())]
        mass = lift * rng.uniform(2.5 if calm else 1.5, 6) / count
        material = rng.choice(["granite", "slate", *(["lava rock"] if not calm else [])])
        slack = ', slack = "2 cm"' if how == "standing" and rng.uniform() < 0.1 else ""
        entries.append(
            f'{{ mass = "{mass * 1e3:.1f} g", material = "{material}", how = "{how}", '
            f"at = {_lengths(place * 100, 3)}{slack} }}"
        )
    pieces = ""
    low, high = corners.min(axis=0) * 100, corners.max(axis=0) * 100
    if not calm and rng.uniform() < 0.25:  # a stone beside the wood, at the end of a taut cord
        place = corners[rng.integers(len(corners))] * 100
        at = [7.0, 6.0] if rng.uniform() < 0.5 else [max(7.0, low[0] - 5), 6.0]
        pieces += (
            f'[[piece]]\nname = "Anchor"\nmaterial = "basalt"\nsolid = "box"\n'
            f'size = ["9 cm", "7 cm", "5 cm"]\nat = {_lengths(at)}\n'
        )
        entries.append(f'{{ stone = "Anchor", how = "standing", at = {_lengths(place, 3)} }}')
    if rng.uniform() < 0.25:  # a slab that lies on it
        at = (low + high)[:2] / 2 + rng.normal(0, 2, 2)
        pieces += (
            f'[[piece]]\nname = "Top"\nmaterial = "basalt"\nsolid = "slab"\nrests = "Wood"\n'
            f'size = ["8 cm", "7 cm", "4 cm"]\nat = {_lengths(at)}\n'
        )
        if rng.uniform() < 0.5:
            entries.append('{ stone = "Top", how = "laid on" }')
    sinkers = f"sinkers = [{', '.join(entries)}]\n" if entries else ""
    return pieces + f'[[group]]\nname = "Wood"\nwood = ["Wood"]\n{sinkers}'


def _lengths(values: Sequence[float] | np.ndarray, digits: int = 2) -> str:
    """Write lengths in centimetres."""
    return "[" + ", ".join(f'"{float(v):.{digits}f} cm"' for v in values) + "]"
