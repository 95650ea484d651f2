"""Stones that stand: how far they may lean, and what push at the top tips them."""

import math
from dataclasses import dataclass

import numpy as np

from plumbstone.meshes.piece import Floats
from plumbstone.volumes.displacement import displaced_at_levels
from plumbstone.volumes.setting import Body
from plumbstone.volumes.water import GRAVITY

FOOT = 0.003  # [m]: nearer than this to its lowest point, a stone touches
UPRIGHT = 1.2  # height over the narrower side of its outline: from here on it stands
SMALL_ANGLE = 15.0  # [degrees]; common practice, no source


@dataclass(frozen=True, slots=True)
class Standing:
    """One stone on its foot; soil is not counted, fish dig."""

    name: str
    tip_angle: float  # about its nearest edge [degrees]; 0 where it does not stand by itself
    push_dry: float  # sideways at the top that tips it [N]
    push_wet: float
    upright: bool  # taller than its outline is narrow
    to_pane: float  # from its outline to the nearest pane [m]

    @property
    def doubtful(self) -> bool:
        """Whether it is upright and tips easily."""
        return self.upright and self.tip_angle < SMALL_ANGLE


def tip_angle(inside: float, height: float) -> float:
    """Lean [degrees] at which a body tips: centre of mass a height [m] up, inside its edge [m]."""
    return math.degrees(math.atan2(max(inside, 0.0), height))


def top_push(weight: float, inside: float, top: float) -> float:
    """Sideways push [N] at a height [m] that tips a weight [N], its edge that far off [m]."""
    return weight * max(inside, 0.0) / top


def judge_standing(body: Body, water: float, floor: tuple[float, float]) -> Standing:
    """Judge one stone about every edge of the hull of its contacts.

    Parameters
    ----------
    body : Body
        Set in the tank.
    water : float
        Density [kg/m³].
    floor : (float, float)
        Length and depth of the tank [m].
    """
    vertices = body.piece.vertices
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    level = np.array([high[2] + 1.0])
    middle = displaced_at_levels(vertices, body.piece.faces, level)[1][0]
    inside = _inside_hull(vertices[vertices[:, 2] < low[2] + FOOT][:, :2], middle[:2])
    up, top = float(middle[2] - low[2]), float(high[2] - low[2])
    dry = body.mass.mid * GRAVITY
    wet = max(0.0, body.mass_in_water(water).mid) * GRAVITY
    size = high - low
    panes = (low[0], low[1], floor[0] - high[0], floor[1] - high[1])
    return Standing(
        name=body.entry.name,
        tip_angle=tip_angle(inside, up),
        push_dry=top_push(dry, inside, top),
        push_wet=top_push(wet, inside, top),
        upright=bool(size[2] > UPRIGHT * min(size[0], size[1])),
        to_pane=float(min(panes)),
    )


def _inside_hull(contacts: Floats, middle: Floats) -> float:
    """Distance from a point to the nearest edge of the hull of contacts [m]; 0 outside of it."""
    from scipy.spatial import ConvexHull, QhullError

    if len(contacts) < 3:
        return 0.0
    try:
        edges = ConvexHull(contacts).equations
    except QhullError:
        return 0.0
    return max(0.0, float(-(edges[:, :2] @ middle + edges[:, 2]).max()))
