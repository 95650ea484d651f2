"""A picture of the forces on wood: lift, weight, ties, pushes from below, and where it tips."""

from pathlib import Path

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, MultipleLocator

from plumbstone.cli.pictures.colours import CLOSED, FAINT, INK, STONE, WATER, WOOD, colour_of
from plumbstone.cli.pictures.drawing import must_be_png, new_figure, png_bytes
from plumbstone.cli.pictures.shaded import FROM_ABOVE, FROM_FRONT, draw_solids
from plumbstone.cli.pictures.sight import bed_colours
from plumbstone.cli.wording.holding import motion_words
from plumbstone.cli.wording.units import RULED, Units, place_words, push_words, written
from plumbstone.meshes.piece import Floats
from plumbstone.volumes.density import GRAVITY
from plumbstone.volumes.holding.equilibrium import Rig, centre_of_lift, forces_at
from plumbstone.volumes.holding.hold_down import HoldResult
from plumbstone.volumes.holding.ties import loose_strapped
from plumbstone.volumes.plan import Plan

LONGEST = 12.0  # arrow of the largest force [cm]
AROUND = 12.0  # shown beside the wood [cm]
PANE = 1.5  # shown beyond a pane [cm]
STEP = {Units.METRIC: 10.0, Units.US: 4 * 2.54}  # between ticks [cm]
LEAST = 0.02  # of the largest force: smaller ones are left out


def picture_of(plan: Plan, path: Path, units: Units = Units.METRIC) -> bytes:
    """Draw all groups of a plan, one row each, as PNG."""
    must_be_png(path)
    count = len(plan.holds)
    figure = new_figure(10, 4.3 * count + 0.3)
    rows = figure.subplots(count, 2, squeeze=False)
    named: dict[str, Artist] = {}
    for (front, above), hold in zip(rows, plan.holds, strict=True):
        _from_front(front, plan, hold, units)
        _from_above(above, plan, hold, units)
        handles, labels = above.get_legend_handles_labels()
        named.update(zip(labels, handles, strict=True))
    figure.legend(
        list(named.values()), list(named), loc="outside lower center", ncols=7, frameon=False
    )
    return png_bytes(figure)


def level_shown(hold: HoldResult) -> int:
    """Give the number of the level that is drawn: where it first moves, or the line."""
    at = hold.levels[-1] if hold.first_move is None else hold.first_move.level
    return int(np.abs(hold.levels - at).argmin())


def _worst_rig(hold: HoldResult) -> Rig:
    """Give the rig at the end of the ranges with the greatest lift."""
    return max(hold.rigs, key=lambda rig: float(rig.lifts[-1, 0]))


def _corners(hold: HoldResult) -> Floats:
    """Give the corners of all that moves as one with the wood, (n, 3) [m]."""
    return np.concatenate([b.piece.vertices for b in hold.stage.bodies[hold.number].pieces])


def _window(plan: Plan, hold: HoldResult) -> tuple[Floats, Floats]:
    """Give the ends of what is shown of the floor: the wood and a little more, in the tank [cm]."""
    wood, tank = _corners(hold)[:, :2] * 100, plan.scape.tank
    floor = np.array([tank.length, tank.depth]) * 100
    low, high = wood.min(axis=0) - AROUND, wood.max(axis=0) + AROUND
    return np.maximum(low, -PANE), np.minimum(high, floor + PANE)


def _bed_cut(axes: Axes, plan: Plan, hold: HoldResult) -> None:
    """Draw the layers as they lie behind the front pane along the middle of the wood."""
    bed = plan.bed
    if bed is None:
        return
    middle = float(_corners(hold)[:, 1].mean())
    row = bed.grid.cell_at(np.zeros(1), np.full(1, middle))[0][0]
    for result in bed.layers:
        below, level = (side[row] * 100 for side in (result.below, result.surface))
        colour = colour_of(result.layer.material)
        axes.fill_between(bed.grid.x * 100, below, level, facecolor=colour, alpha=0.45, lw=0)


def _bed_above(axes: Axes, plan: Plan) -> None:
    """Draw which layer lies on top, and the panes."""
    tank = plan.scape.tank
    length, depth = tank.length * 100, tank.depth * 100
    if plan.bed is not None:
        colours = bed_colours(plan.bed)
        axes.imshow(colours, origin="lower", extent=(0, length, 0, depth), alpha=0.45, zorder=0)
        for result in plan.bed.layers:
            colour = colour_of(result.layer.material)
            axes.fill([], [], facecolor=colour, alpha=0.45, label=result.layer.name)
    axes.plot([0, length, length, 0, 0], [0, 0, depth, depth, 0], color=FAINT, lw=1.5)


def _force_words(newtons: float, units: Units) -> str:
    """Write a force, and the mass that weighs as much."""
    return f"{push_words(newtons, units)}, {written(newtons / GRAVITY, 'sinker', units)}"


def _solids(axes: Axes, plan: Plan, hold: HoldResult, *, front: bool) -> None:
    """Draw the group's wood, and faintly what stands near it."""
    view = FROM_FRONT if front else FROM_ABOVE
    own = {body.entry.name for body in hold.stage.bodies[hold.number].pieces}
    near = [b for b in plan.bodies if b.entry.name not in own]
    colours = {"wood": WOOD, "stone": STONE}
    for bodies, alpha in ((near, 0.25), ([b for b in plan.bodies if b.entry.name in own], 0.8)):
        solids = [(b.piece.vertices, b.piece.faces, colours[b.entry.kind]) for b in bodies]
        draw_solids(axes, solids, view, alpha=alpha)


def _from_front(axes: Axes, plan: Plan, hold: HoldResult, units: Units) -> None:
    """Draw heights: the forces at the level where it first moves, or at the line."""
    _bed_cut(axes, plan, hold)
    _solids(axes, plan, hold, front=True)
    level, rig = level_shown(hold), _worst_rig(hold)
    wood = _corners(hold)
    height = float(wood[:, 2].mean()) * 100
    lift, weight = float(rig.lifts[level, 0]), float(rig.masses[0]) * GRAVITY
    largest = max(lift, weight, 1e-9)
    at = centre_of_lift(rig, level)[0] * 100
    if lift > LEAST * largest:
        text = f"lift {_force_words(lift, units)}"
        _arrow(axes, at, height, LONGEST * lift / largest, WATER, text)
    middle = float(rig.centres[0, 0]) * 100
    text = f"weight {_force_words(weight, units)}"
    _arrow(axes, middle, height, -LONGEST * weight / largest, INK, text)
    pushes, pulls = forces_at(rig, level)
    if not np.isfinite(pushes).all():
        pulls = rig.most_pulls[level]
    for (x, *_), pull, own in zip(rig.ties, pulls, rig.tied, strict=True):
        if own == 0 and pull > LEAST * largest:
            text = f"tie {_force_words(float(pull), units)}"
            _arrow(axes, x * 100, height, -LONGEST * pull / largest, CLOSED, text)
    _pushes(axes, rig, pushes, largest)
    for _, (x, _, z) in loose_strapped(hold.stage.bodies[hold.number], hold.stage.placed):
        axes.plot([x * 100], [z * 100], "s", color=CLOSED, ms=8, zorder=6)
    surface = float(hold.levels[level]) * 100
    axes.axhline(surface, color=WATER, lw=1.2)
    axes.axhspan(0, surface, color=WATER, alpha=0.08, lw=0)
    low, high = _window(plan, hold)
    axes.set_xlim(low[0], high[0])
    top = max(height + LONGEST + 6, float(wood[:, 2].max()) * 100 + 2, surface + 2)
    axes.set_ylim(min(-2, height - LONGEST - 6), top)
    axes.axhline(0, color=FAINT, lw=1.5)
    verdict = "stays, if set as described" if hold.stays else "not proved to stay"
    if hold.first_move is not None:
        verdict = motion_words(hold.first_move.manner, sure=True)
    axes.set_title(f"{hold.group.name}: {verdict}", loc="left")
    _label(axes, "above the glass", units)


def _pushes(axes: Axes, rig: Rig, pushes: Floats, largest: float) -> None:
    """Draw what carries it; where the pose cannot be in balance only the places."""
    known = np.isfinite(pushes).all()
    for (x, _, z), push, upper in zip(rig.contacts, pushes, rig.uppers, strict=True):
        if upper != 0:
            continue
        foot = z * 100
        axes.plot([x * 100], [foot], marker="^", color=INK, ms=4, zorder=6)
        if known and push > LEAST * largest:
            axes.annotate(
                "", (x * 100, foot), (x * 100, foot - LONGEST * push / largest),
                arrowprops={"arrowstyle": "-|>", "color": FAINT, "lw": 1.4}, annotation_clip=False,
            )  # fmt: skip


def _from_above(axes: Axes, plan: Plan, hold: HoldResult, units: Units) -> None:
    """Draw places: contacts, ties, centres of mass and lift, the edge it tips about."""
    _bed_above(axes, plan)
    _solids(axes, plan, hold, front=False)
    level, rig = level_shown(hold), _worst_rig(hold)
    own = rig.uppers == 0
    axes.plot(*(rig.contacts[own, :2] * 100).T, "^", color=INK, ms=5, label="rests", zorder=6)
    axes.plot(*(rig.centres[0] * 100), "o", color=INK, ms=8, label="middle of mass", zorder=6)
    at = centre_of_lift(rig, level) * 100
    axes.plot(*at, "o", mfc="none", mec=WATER, mew=2.5, ms=12, label="middle of lift", zorder=6)
    if (rig.tied == 0).any():
        ties = rig.ties[rig.tied == 0, :2] * 100
        axes.plot(*ties.T, "v", color=CLOSED, ms=9, label="tie", zorder=6)
    strapped = loose_strapped(hold.stage.bodies[hold.number], hold.stage.placed)
    if strapped:
        at_them = np.array([place[:2] for _, place in strapped]) * 100
        axes.plot(*at_them.T, "s", color=CLOSED, ms=8, label="strapped stone", zorder=6)
    if not hold.stays and hold.offers.best:
        x, y = np.array(hold.offers.best[0].points)[:, :2].T * 100
        axes.plot(x, y, "P", mfc="white", mec=CLOSED, ms=9, label="tie here", zorder=6)
    if hold.first_move is not None and hold.first_move.edge:
        edge = np.array(hold.first_move.edge) * 100
        axes.plot(*edge.T, "-", color=CLOSED, lw=4, marker="D", ms=5, label="tips about", zorder=7)
    low, high = _window(plan, hold)
    axes.set_xlim(low[0], high[0])
    axes.set_ylim(low[1], high[1])
    axes.set_aspect("equal")
    surface = place_words(float(hold.levels[level]), units)
    when = "at the line" if hold.first_move is None else f"when the water stands at {surface}"
    axes.set_title(f"From above, {when}", loc="left")
    _label(axes, "from the front pane", units)
    names = [t.sinker.stone or f"{t.sinker.mass * 1e3:.0f} g" for t in hold.ties]
    for (x, y), name in zip(rig.ties[rig.tied == 0, :2] * 100, names, strict=True):
        axes.annotate(name, (x, y), (0, -14), textcoords="offset points", ha="center")


def _arrow(axes: Axes, x: float, y: float, length: float, colour: str, text: str) -> None:
    """Draw one force, its length to scale, with its size at the tip."""
    looks = {"arrowstyle": "-|>", "color": colour, "lw": 2.5, "mutation_scale": 18}
    tip, (aside, side) = (x, y + length), (4, "bottom") if length > 0 else (-4, "top")
    axes.annotate("", tip, (x, y), arrowprops=looks, annotation_clip=False, zorder=8)
    axes.annotate(
        text, tip, (0, aside), textcoords="offset points", ha="center", va=side, color=INK,
        bbox={"fc": "white", "ec": "none", "alpha": 0.75, "pad": 0.8}, zorder=9,
    )  # fmt: skip


def _label(axes: Axes, up: str, units: Units) -> None:
    """Name the axes and count along them in the user's unit; they themselves are in cm."""
    _, name = RULED[units]
    for axis, words in ((axes.xaxis, "from the left pane"), (axes.yaxis, up)):
        axis.set_major_locator(MultipleLocator(STEP[units]))
        if units is Units.US:
            axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value / 2.54:.0f}"))
        axis.set_label_text(f"{name} {words}")
