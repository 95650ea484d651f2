"""What to hang on a piece of wood, and where: tie points, least sinkers, stones at hand."""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from plumbstone.meshes.columns import Grid, columns_of
from plumbstone.meshes.faults import shells
from plumbstone.meshes.piece import Floats, Piece
from plumbstone.volumes.bodies.placement import Body
from plumbstone.volumes.holding.equilibrium import Rig, least_sinkers
from plumbstone.volumes.holding.free_bodies import Stage, covered_shares
from plumbstone.volumes.scape.groups import Group
from plumbstone.volumes.scape.materials import Material

MOST_SINKERS = 3
NEAR = 0.03  # tie points nearer than this are one [m]
LATTICE = 60  # cells along a piece, on which limbs are told apart
LIMB = 0.03  # a limb stands at least so far above its crotch [m]
BURIED = 0.01  # a limb end lies at least so far below the soil line [m]


@dataclass(frozen=True, slots=True)
class Offer:
    """The least sinkers of one number at the best of the allowed tie points."""

    material: Material
    points: tuple[tuple[float, float, float], ...]  # [m]
    masses: tuple[float, ...]  # dry, one at each point [kg]
    stones: tuple[str, ...] = ()  # stones at hand that do, one at each point; empty: none do

    @property
    def total(self) -> float:
        """All sinkers together [kg]."""
        return sum(self.masses)


@dataclass(frozen=True, slots=True, eq=False)
class Offers:
    """What would hold one group, in place of what hangs on it now."""

    points: Floats  # (p, 3) places where a tie may go [m]
    why: str  # what these places are
    best: tuple[Offer, ...]  # one, two, three sinkers; more only where they are lighter than
    # fewer would be; empty: no mass at these points holds it


def offers_for(
    stage: Stage,
    number: int,
    rigs: Sequence[Rig],
    bed: Floats,
    grid: Grid,
    material: Material,
    at_hand: Sequence[Body],
) -> Offers:
    """Find the least sinkers for a group at its tie points, or at those offered by default.

    Parameters
    ----------
    stage : Stage
    number : int
        Of the group on it.
    rigs : sequence of Rig
        The group at the ends of its ranges, the factor on its lift.
    bed : (rows, columns) float array
        Surface of the bed [m].
    grid : Grid
    material : Material
        Of the sinkers.
    at_hand : sequence of Body
        Stones to choose from.

    Notes
    -----
    Hanging and standing sinkers of the group are left out, strapped ones and what lies on it
    stay. Sinkers stand with taut ties.
    """
    group = stage.bodies[number].group
    assert group is not None
    points, why = _points_of(group, [b.piece for b in stage.wood_of(number)], bed, grid)
    bare = [_without_ties(rig) for rig in rigs]
    assert material.density is not None
    wet_share = 1 - stage.water / material.density.low
    shares = 1 - (1 - wet_share) * covered_shares(stage.levels)
    best = [
        replace(offer, stones=_fitting(offer.masses, wet_share, at_hand, stage.water))
        for offer in _by_number(bare, points, shares, material)
    ]
    return Offers(points, why, tuple(best))


def limb_ends_below(piece: Piece, bed: Floats, grid: Grid) -> Floats:
    """Lowest places of the parts of a piece that lie below the surface of the bed, (p, 3) [m]."""
    corners = piece.vertices
    under = corners[:, 2] < bed[grid.cell_at(corners[:, 0], corners[:, 1])] - BURIED
    faces = piece.faces[under[piece.faces].all(axis=1)]
    if not len(faces):
        return np.empty((0, 3))
    number = shells(faces, len(corners))
    buried = (corners[np.unique(faces[number == k])] for k in range(int(number.max()) + 1))
    return np.array([part[int(part[:, 2].argmin())] for part in buried])


def lowest_crotch(piece: Piece, grid: Grid) -> Floats:
    """Place where the two lowest limbs of a piece part, (1, 3); none where they never do, (0, 3).

    Notes
    -----
    From the top down, parts above a level are told apart; where two parts that both stand
    well above the level become one, there is a crotch. Parts are those of a lattice.
    """
    from scipy.ndimage import label

    step = float(piece.size.max()) / LATTICE
    coarse = Grid.of_spacing(grid.length, grid.depth, step)
    window = columns_of(piece.vertices, piece.faces, coarse)
    low, high = float(piece.vertices[:, 2].min()), float(piece.vertices[:, 2].max())
    heights = np.arange(low + step / 2, high, step)
    solid = np.zeros((len(heights), *window.lowest().shape), dtype=bool)
    for bottom, top in zip(window.bottoms, window.tops, strict=True):
        solid |= (heights[:, None, None] >= bottom) & (heights[:, None, None] <= top)
    found = np.empty((0, 3))
    before = np.zeros(solid.shape, dtype=np.int32)
    tall: set[int] = set()
    for level in range(len(heights) - 1, -1, -1):
        parts, _ = label(solid[level:])
        for number in np.unique(parts[0][parts[0] > 0]):
            above = tall & {int(n) for n in np.unique(before[level + 1 :][parts[1:] == number])}
            if len(above) > 1:
                row, column = np.argwhere(parts[0] == number).mean(axis=0)
                x = (column + window.column + 0.5) * coarse.spacing[0]
                y = (row + window.row + 0.5) * coarse.spacing[1]
                found = np.array([[x, y, heights[level]]])
        before[level:] = parts
        tall = {
            number
            for number in range(1, int(parts.max()) + 1)
            if np.ptp(np.flatnonzero((parts == number).any(axis=(1, 2)))) * step >= LIMB
        }
    return found


def _points_of(group: Group, wood: Sequence[Piece], bed: Floats, grid: Grid) -> tuple[Floats, str]:
    """Give the places where a tie may go: what the file names, else where it will not show."""
    if group.tie_points:
        return np.array(group.tie_points), "the tie points that you named"
    buried = _apart(np.concatenate([limb_ends_below(piece, bed, grid) for piece in wood]))
    if len(buried):
        return buried[:4], "limb ends below the soil line"
    crotches = _apart(np.concatenate([lowest_crotch(piece, grid) for piece in wood]))
    if len(crotches):
        return crotches[:4], "the lowest crotch"
    feet = [p.vertices[int(p.vertices[:, 2].argmin())] for p in wood]
    return _apart(np.array(feet))[:4], "the lowest place"


def _apart(points: Floats) -> Floats:
    """Keep the lowest of places that are nearly one, lowest first."""
    kept: list[Floats] = []
    for point in points[np.argsort(points[:, 2])]:
        if all(float(np.linalg.norm(point - other)) > NEAR for other in kept):
            kept.append(point)
    return np.array(kept).reshape(-1, 3)


def _without_ties(rig: Rig) -> Rig:
    """Leave out what pulls the first body by a tie."""
    own = rig.tied == 0
    least, most = rig.least_pulls.copy(), rig.most_pulls.copy()
    least[:, own] = most[:, own] = 0.0
    return replace(rig, least_pulls=least, most_pulls=most)


def _by_number(
    rigs: Sequence[Rig],
    points: Floats,
    shares: Floats,
    material: Material,
) -> list[Offer]:
    """Best set of one, two and three points; a larger set only where it saves stone."""
    found: list[Offer] = []
    for number in range(1, min(MOST_SINKERS, len(points)) + 1):
        best: Offer | None = None
        for chosen in itertools.combinations(range(len(points)), number):
            masses = least_sinkers(rigs, points[list(chosen)][:, :2], shares)
            if masses is None or (number > 1 and masses.min() < 1e-4):
                continue
            if best is None or masses.sum() < best.total:
                places = tuple((float(x), float(y), float(z)) for x, y, z in points[list(chosen)])
                some = tuple(float(mass) for mass in masses)
                best = Offer(material, places, some)
        if best is not None and (not found or best.total < 0.97 * found[-1].total):
            found.append(best)
    return found


def _fitting(
    masses: Sequence[float], wet_share: float, stones: Sequence[Body], water: float
) -> tuple[str, ...]:
    """Lightest stones that weigh enough dry and in water, one for each mass; empty: they lack."""
    left = sorted(stones, key=lambda stone: stone.mass.low)
    chosen = [""] * len(masses)
    for i in sorted(range(len(masses)), key=lambda i: -masses[i]):
        heavy = [
            stone
            for stone in left
            if stone.mass.low >= masses[i]
            and stone.mass_in_water(water).low >= wet_share * masses[i]
        ]
        if not heavy:
            return ()
        chosen[i] = heavy[0].entry.name
        left.remove(heavy[0])
    return tuple(chosen)
