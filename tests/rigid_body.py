"""An outside judge of what stays: a rigid-body simulation of scapes made by chance.

MuJoCo (Apache-2.0) moves the bodies; their shapes are the solids of the scape, cut into convex
parts. Buoyancy is summed over small cubes of these parts, so it shares no code with the program.
"""

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path

import mujoco
import numpy as np
from chance_scapes import group_text, scape_text
from scipy.spatial import ConvexHull

from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.meshes.shapes import primitives
from plumbstone.volumes.bodies.placement import Body
from plumbstone.volumes.density import water_density
from plumbstone.volumes.holding.ends import End, ends_of, stone_state
from plumbstone.volumes.holding.free_bodies import Stage, sinker_state
from plumbstone.volumes.holding.hold_down import HoldResult, Surroundings, judge_groups
from plumbstone.volumes.holding.offers import Offer
from plumbstone.volumes.holding.ties import Tie, loose_strapped, nearest_point
from plumbstone.volumes.layout import Layout
from plumbstone.volumes.scape.groups import KEPT, Sinker
from plumbstone.volumes.scape.materials import find_material
from plumbstone.volumes.scape.scape import read_scape

mujoco.set_mju_user_warning(lambda _: None)  # else it writes a log file where it runs

GRAVITY = 9.80665
WEDGES = 320  # convex parts of a boulder, the faces of a sphere split twice
MOVED, TURNED = 0.005, 1.0  # [m], [degrees]: more than this is a motion
LINE = 0.36  # [m]
SETTLE = 1.2  # [s] before the water rises


@dataclass
class Fineness:
    """How finely the simulation steps."""

    step: float = 0.002  # [s]
    cube: float = 0.006  # [m]
    rise: float = 0.02  # of the water [m/s]


FINE = Fineness()
QUICK = Fineness(step=0.004, cube=0.01, rise=0.08)


@dataclass
class Buoy:
    """Cubes of one piece, in the frame of its body."""

    body: int
    points: np.ndarray  # (n, 3)
    volume: float  # of one of them [m³]
    height: float  # of one of them [m]

    @cached_property
    def around(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Their mean, the middle of the box around them and half its sides [m]."""
        low, high = self.points.min(axis=0), self.points.max(axis=0)
        return self.points.mean(axis=0), (low + high) / 2, (high - low) / 2


@dataclass
class Run:
    """What the simulation saw."""

    settled: float  # motion before the water rose [m]
    turned: float  # the same [degrees]
    first: float | None  # level at which it first moved beyond the bars [m]
    moved: float  # greatest motion of the wood in the water [m]
    tilted: float  # greatest turn [degrees]
    levels: list[float] = field(default_factory=list)

    @property
    def stays(self) -> bool:
        """Whether nothing moved beyond the bars once the water rose."""
        return self.first is None


def parts_of(body: Body) -> list[np.ndarray]:
    """Convex parts of a piece as it stands in the tank, corners (n, 3) each."""
    shape, vertices = body.entry.shape, body.piece.vertices
    if shape.solid == "boulder":
        middle = vertices.mean(axis=0)
        faces = body.piece.faces
        return [np.vstack([vertices[np.unique(faces[k::WEDGES])], middle]) for k in range(WEDGES)]
    if not shape.limbs:
        return [vertices]
    drawn = [np.array(limb.path) for limb in shape.limbs]
    ends = [np.array(limb.girths) / np.pi for limb in shape.limbs]
    turn, move = _placed(primitives.fork(drawn, ends).vertices, vertices)
    parts = []
    for path, diameters in zip(drawn, ends, strict=True):
        skin = primitives.branch(path, diameters).vertices
        rings = [*(skin[:-2] @ turn.T + move).reshape(-1, 16, 3)]
        ends = primitives.CAP_RINGS - 1  # a round end is one part with the shaft beside it
        joints = [0, *range(ends + 1, len(rings) - ends - 1), len(rings) - 1]
        parts += [np.concatenate(rings[a : b + 1]) for a, b in itertools.pairwise(joints)]
    return parts


def _placed(before: np.ndarray, after: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rotation and shift that carry one set of corners to another (Kabsch, from memory)."""
    a, b = before.mean(axis=0), after.mean(axis=0)
    u, _, vt = np.linalg.svd((before - a).T @ (after - b))
    flip = np.diag([1, 1, np.sign(np.linalg.det(vt.T @ u.T))])
    turn = vt.T @ flip @ u.T
    return turn, b - turn @ a


def cubes_in(parts: Sequence[np.ndarray], size: float) -> np.ndarray:
    """Middles of the cubes of a lattice that lie in any of some convex parts, (n, 3)."""
    corners = np.concatenate(parts)
    low, high = corners.min(axis=0), corners.max(axis=0)
    axes = [np.arange(a + size / 2, b, size) for a, b in zip(low, high, strict=True)]
    points = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
    inside = np.zeros(len(points), dtype=bool)
    for part in parts:
        planes = ConvexHull(part).equations
        near = np.flatnonzero(
            ~inside
            & (points >= part.min(axis=0)).all(axis=1)
            & (points <= part.max(axis=0)).all(axis=1)
        )
        inside[near] = (points[near] @ planes[:, :3].T + planes[:, 3] <= 0).all(axis=1)
    return points[inside]


class Tank:
    """A stage as a simulation: all its bodies free, the water given from outside."""

    def __init__(
        self,
        stage: Stage,
        number: int,
        end: End,
        friction: float,
        ground: float,
        fine: Fineness,
        rise: float = 0.0,  # of the ground to the back [-]
    ) -> None:
        self.stage, self.fine, self.water = stage, fine, stage.water
        spec = mujoco.MjSpec()
        spec.memory = 1 << 30  # boulders that are drawn into each other touch in many parts
        spec.option.timestep = fine.step
        spec.option.gravity = [0, 0, -GRAVITY]
        spec.option.cone = mujoco.mjtCone.mjCONE_ELLIPTIC
        spec.option.impratio = 20
        spec.option.noslip_iterations = 4
        self.spec, self.friction, self.end = spec, friction, end
        floor = spec.worldbody.add_geom(
            type=mujoco.mjtGeom.mjGEOM_PLANE, size=[3, 3, 0.1], friction=[friction, 1e-4, 1e-5]
        )
        floor.solref = [2.5 * fine.step, 1]
        if ground:
            slab = spec.worldbody.add_geom(
                type=mujoco.mjtGeom.mjGEOM_PLANE,
                size=[3, 3, 0.1],
                pos=[0, 0, ground],
                friction=[friction, 1e-4, 1e-5],
            )
            half = math.atan(rise) / 2
            slab.quat = [math.cos(half), math.sin(half), 0, 0]
            slab.contype, slab.conaffinity = 2, 2
            slab.solref = [2.5 * fine.step, 1]
        self.order = stage.together(number)
        self.buoys: list[Buoy] = []
        self.names: list[str] = []
        self.pulls: list[tuple[str, Callable[[float], float]]] = []
        for which in self.order:
            self._add(which, ground)
        for which in self.order:
            for tie in stage.ties[which]:
                self._tie(which, tie)
        self.model = spec.compile()
        self.data = mujoco.MjData(self.model)
        mujoco.mj_forward(self.model, self.data)
        self.ids = [self.model.body(f"b{w}").id for w in self.order]
        names = [f"b{b.body}" if b.body >= 0 else f"w{-1 - b.body}" for b in self.buoys]
        self.afloat = [self.model.body(name).id for name in names]
        self.sites = [self.model.site(name).id for name, _ in self.pulls]
        for buoy, number in zip(self.buoys, self.afloat, strict=True):
            if buoy.body >= 0:
                frame = self.data.xmat[number].reshape(3, 3)
                buoy.points = (buoy.points - self.data.xpos[number]) @ frame
        self.start = self.pose()

    def _add(self, which: int, ground: float) -> None:
        """Add one body with its convex parts, mass and cubes."""
        moving = self.stage.bodies[which]
        body = self.spec.worldbody.add_body(name=f"b{which}")
        body.add_freejoint()
        for k, piece in enumerate(moving.pieces):
            mass, volume = self.state(piece)
            parts = parts_of(piece)
            cubes = cubes_in(parts, self.fine.cube)
            whole = [ConvexHull(p).volume for p in parts]
            on_bed = bool(ground) and piece.entry.rests == "bed"
            for j, part in enumerate(parts):
                name = f"m{which}_{k}_{j}"
                hull = ConvexHull(part)
                keep = part[hull.vertices]
                self.spec.add_mesh(name=name, uservert=keep.astype(float).ravel())
                geom = body.add_geom(type=mujoco.mjtGeom.mjGEOM_MESH, meshname=name)
                geom.mass = mass * whole[j] / sum(whole)
                geom.friction = [self.friction, 1e-4, 1e-5]
                geom.solref = [2.5 * self.fine.step, 1]
                geom.contype, geom.conaffinity = (3, 3) if on_bed else (1, 1)
            self.buoys.append(
                Buoy(which, cubes, volume / len(cubes), (volume / len(cubes)) ** (1 / 3))
            )
        for sinker, place in loose_strapped(moving, self.stage.placed):
            mass, volume = self.sinker_state(sinker)
            weight = body.add_geom(
                type=mujoco.mjtGeom.mjGEOM_SPHERE,
                size=[(0.75 * volume / math.pi) ** (1 / 3)] * 3,
                pos=list(place),
                mass=mass,
            )
            weight.contype = weight.conaffinity = 0
            side = volume ** (1 / 3)
            self.buoys.append(Buoy(which, np.array([place]), volume, side))

    def state(self, piece: Body) -> tuple[float, float]:
        """Mass and displaced volume of a piece at this end of the ranges."""
        name = piece.entry.name
        if name in self.end.masses:
            return self.end.masses[name], self.end.volumes[name]
        if piece.entry.kind == "wood":
            return piece.mass.mid, piece.volume.mid
        return stone_state(piece, self.water, self.end.stones)

    def sinker_state(self, sinker: Sinker) -> tuple[float, float]:
        """Mass and volume of a sinker."""
        return sinker_state(sinker, self.stage, self.end.stones)

    def _tie(self, which: int, tie: Tie) -> None:
        """Add a cord, or what lies or hangs on the wood as a force."""
        number = len(self.names)
        wood = self.spec.body(f"b{which}")
        wood.add_site(name=f"s{number}", pos=list(tie.place))
        mass, volume = self.sinker_state(tie.sinker)
        side = volume ** (1 / 3)
        self.names.append(f"s{number}")
        if tie.exact:
            foot = max(0.0, tie.place[2] - (0 if tie.sinker.how == "laid on" else side + 0.02))
            slack = not tie.taut

            def pull(level: float) -> float:
                wet = min(1.0, max(0.0, (level - foot) / side))
                return 0.0 if slack else (mass - self.water * volume * wet) * GRAVITY

            self.pulls.append((f"s{number}", pull))
            return
        if tie.to:
            stone = next(
                w
                for w in self.order
                if any(b.entry.name == tie.to for b in self.stage.bodies[w].pieces)
            )
            anchor = nearest_point(self.stage.placed[tie.to], np.array(tie.place))
            self.spec.body(f"b{stone}").add_site(name=f"a{number}", pos=list(anchor))
        else:
            anchor = np.array([tie.place[0], tie.place[1], 0.0])
            weight = self.spec.worldbody.add_body(name=f"w{number}", pos=list(anchor))
            joint = weight.add_joint(type=mujoco.mjtJoint.mjJNT_SLIDE, axis=[0, 0, 1])
            joint.limited, joint.range = mujoco.mjtLimited.mjLIMITED_TRUE, [0, 2]
            joint.solref_limit = [2.5 * self.fine.step, 1]
            ball = weight.add_geom(type=mujoco.mjtGeom.mjGEOM_SPHERE, size=[0.01] * 3, mass=mass)
            ball.contype = ball.conaffinity = 0
            weight.add_site(name=f"a{number}")
            points = np.array([[0, 0, side / 2]])
            self.buoys.append(Buoy(-1 - number, points, volume, side))
        length = float(np.linalg.norm(anchor - np.array(tie.place))) + tie.sinker.slack
        cord = self.spec.add_tendon(name=f"t{number}")
        cord.wrap_site(f"s{number}")
        cord.wrap_site(f"a{number}")
        cord.limited, cord.range = mujoco.mjtLimited.mjLIMITED_TRUE, [0, max(length, 1e-4)]
        cord.solref_limit = [2.5 * self.fine.step, 1]

    def pose(self) -> tuple[np.ndarray, np.ndarray]:
        """Places (n, 3) and turns (n, 3, 3) of all bodies."""
        ids = self.ids
        return self.data.xipos[ids].copy(), self.data.xmat[ids].reshape(-1, 3, 3).copy()

    def motion(self, since: tuple[np.ndarray, np.ndarray]) -> tuple[float, float]:
        """Greatest motion of any corner of the wood [m] and turn [degrees] since a pose."""
        places, turns = self.pose()
        step = turns[0] @ since[1][0].T
        angle = math.degrees(math.acos(min(1.0, max(-1.0, (np.trace(step) - 1) / 2))))
        return float(np.linalg.norm(places[0] - since[0][0])), angle

    def push(self, level: float) -> None:
        """Set the forces of the water and of what hangs or lies on the wood."""
        data, model = self.data, self.model
        data.xfrc_applied[:] = 0
        for buoy, number in zip(self.buoys, self.afloat, strict=True):
            turn, place = data.xmat[number].reshape(3, 3), data.xpos[number]
            mean, middle, half = buoy.around
            depth = (level - place[2] - turn[2] @ middle) / buoy.height
            reach = abs(turn[2]) @ half / buoy.height + 0.5
            if depth <= -reach:
                continue
            if depth >= reach:  # all of it is under water, as if at its mean
                points, wet = (turn @ mean + place)[None], np.full(1, len(buoy.points))
            else:
                points = buoy.points @ turn.T + place
                wet = np.clip((level - points[:, 2]) / buoy.height + 0.5, 0, 1)
            force = self.water * GRAVITY * buoy.volume * wet
            arm = points - data.xipos[number]
            data.xfrc_applied[number, 2] += force.sum()
            data.xfrc_applied[number, 3] += arm[:, 1] @ force
            data.xfrc_applied[number, 4] -= arm[:, 0] @ force
        for site, (_, pull) in zip(self.sites, self.pulls, strict=True):
            number = model.site_bodyid[site]
            force = pull(level)
            arm = data.site_xpos[site] - data.xipos[number]
            data.xfrc_applied[number, 2] -= force
            data.xfrc_applied[number, 3] -= arm[1] * force
            data.xfrc_applied[number, 4] += arm[0] * force
        # Water slows what moves in it; slow motions stay what they are.
        for number in self.ids:
            mass = model.body_mass[number]
            data.xfrc_applied[number, :3] -= 1.5 * mass * data.cvel[number, 3:]
            data.xfrc_applied[number, 3:] -= (
                1.5 * model.body_inertia[number] * data.cvel[number, :3]
            )

    def step(self, level: float) -> None:
        """Go one step at a level of the water."""
        self.push(level)
        mujoco.mj_step(self.model, self.data)

    def run(self, line: float, *, drain: bool = True) -> Run:
        """Let all settle dry, fill to the line and drain; stop once the wood has moved."""
        for _ in range(round(SETTLE / self.fine.step)):
            self.step(0.0)
        settled, turned = self.motion(self.start)
        if settled > MOVED or turned > TURNED:  # what leaves its pose dry moves at no water at all
            return Run(settled, turned, 0.0, settled, turned)
        here, worst, tilt = self.pose(), 0.0, 0.0
        bottom = min(
            float(b.piece.vertices[:, 2].min())
            for w in self.order
            for b in self.stage.bodies[w].pieces
        )
        top = max(
            float(b.piece.vertices[:, 2].max())
            for w in self.order
            for b in self.stage.bodies[w].pieces
        )
        # Below the lowest and above the highest body nothing changes; ties reach to the floor.
        up = np.arange(max(0.0, bottom), min(line, top + 0.08), self.fine.rise * self.fine.step)
        still = np.full(round(0.8 / self.fine.step), min(line, top + 0.08))
        levels = np.concatenate([up, still, up[::-1] if drain else []])
        every = max(1, round(0.02 / self.fine.step))
        for k, level in enumerate(levels):
            self.step(float(level))
            if k % every == 0:
                moved, angle = self.motion(here)
                worst, tilt = max(worst, moved), max(tilt, angle)
                if moved > MOVED or angle > TURNED:
                    return Run(settled, turned, float(level), worst, tilt)
        return Run(settled, turned, None, worst, tilt)


@dataclass
class Case:
    """One scape by chance: what the program says of it, and what it takes to simulate it."""

    seed: int
    hold: HoldResult
    ends: tuple[End, ...]
    friction: float
    soil: float
    rng: np.random.Generator

    def simulated(self, fine: Fineness, end: End, stage: Stage | None = None) -> Run:
        """Fill and drain it, as it is or with other sinkers."""
        stage = self.hold.stage if stage is None else stage
        return Tank(stage, 0, end, self.friction, self.soil, fine).run(LINE)

    def any_end(self) -> End:
        """Choose an end of the ranges by chance."""
        return self.ends[int(self.rng.integers(len(self.ends)))]

    def with_offer(self, offer: Offer) -> Stage:
        """Apply an offer, as it says or as stones that stand with taut ties."""
        stage, group = self.hold.stage, self.hold.group
        kept = tuple(s for s in group.sinkers if s.how in KEPT)
        hows = offer.hows if self.rng.uniform() < 0.6 else ("standing",) * len(offer.hows)
        added = tuple(
            Sinker(mass, offer.material, how, at)
            for mass, how, at in zip(offer.masses, hows, offer.points, strict=True)
        )
        return stage.with_group(0, replace(group, sinkers=(*kept, *added)))


def case_of(seed: int, folder: Path, *, calm: bool = False, offers: bool = True) -> Case | None:
    """Make and judge a scape by chance; None where the program refuses what was drawn.

    Calm ones are flat and heavily held, so that many of them are called held.
    """
    rng = np.random.default_rng(seed)
    try:
        text, soil = scape_text(rng, calm=calm)
        bodies = Layout(read_scape(write(folder, text))).ground().bodies
        wood = next(body for body in bodies if body.entry.kind == "wood")
        held = group_text(rng, wood, calm=calm)
        hold = judged(write(folder, text + held), offers=offers)
    except PlumbstoneError:
        return None
    ends = ends_of(hold.group, hold.stage.wood_of(0), hold.balance.lift, hold.stage.water)
    return Case(seed, hold, ends, float(rng.uniform(0.3, 0.8)), soil, rng)


def judged(path: Path, *, offers: bool = True) -> HoldResult:
    """Judge the wood of a scape file, as the program does."""
    scape = read_scape(path)
    ground = Layout(scape).ground()
    assert scape.tank.water_line is not None
    around = Surroundings(
        water_density(scape.tank.celsius), scape.tank.water_line, ground.grid, ground.bed,
        find_material("granite"), (), offers=offers,
    )  # fmt: skip
    return judge_groups(scape.groups, ground.bodies, around)[0]


def write(folder: Path, text: str) -> Path:
    """Write a scape file."""
    path = folder / "scape.toml"
    path.write_text(text, encoding="utf-8")
    return path
