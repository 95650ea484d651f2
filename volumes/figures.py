"""What is told of a scape: frozen figures in SI, their unit at the end of each name.

Uncertain figures are ranges. Nothing is worded or rounded here.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from plumbstone.meshes.ranges import Range
from plumbstone.volumes.findings import Finding

MILLIMETRES = {"unit": "mm"}
GRAMS = {"unit": "g"}
FLAT = {"flat": True}  # its keys stand among those of the whole
IF_ANY = {"if any": True}  # left out of documents where it is None
UNSAID = {"unsaid": True}  # not in documents
OPEN = {"open": True}  # notes whose figures are open, see `telling.metric`


@dataclass(frozen=True, slots=True)
class TankFigures:
    """The tank, inside dimensions [m]."""

    length_m: float
    depth_m: float
    height_m: float | None
    glass_m: float | None = field(metadata=MILLIMETRES)
    water_line_m: float | None
    temperature_c: float
    salinity_g_per_kg: float


@dataclass(frozen=True, slots=True)
class PieceFigures:
    """One stone or piece of wood as it stands; places count from left pane, front pane, glass."""

    number: int  # in the order of work, the same on every list and drawing
    name: str
    kind: str
    material: str
    volume_m3: Range
    mass_kg: Range
    mass_in_water_kg: Range
    size_m: tuple[float, ...]  # length, width, height as it stands
    from_left_m: float  # of its middle
    from_front_m: float
    near_left_m: float  # of its nearest point, where a tape reaches
    near_front_m: float
    foot_m: float
    top_m: float
    turn_deg: float
    tilt_deg: float
    lean_deg: float
    rests: str
    pressed_m: float  # below the surface of the bed
    set_after_layer: int | None  # place in pouring order of the layer it is set on
    on_wood: bool  # a stone that lies on wood and is set after it
    covered: float  # share of its volume below the bed's surface
    cost: Range | None
    how_known: str
    mended: tuple[str, ...] = field(metadata=OPEN)


@dataclass(frozen=True, slots=True)
class LumpFigures:
    """Stones or wood without a place."""

    name: str
    kind: str
    count: int
    material: str
    mass_kg: Range
    volume_m3: Range
    below_soil: float


@dataclass(frozen=True, slots=True)
class BagFigures:
    """Bags of one size to buy."""

    holds_m3: float | None = field(metadata=IF_ANY)  # by volume, or
    holds_kg: float | None = field(metadata=IF_ANY)  # by mass
    label: str = field(metadata=UNSAID)  # as the user wrote it
    count: int
    price: float | None  # of one


@dataclass(frozen=True, slots=True)
class LayerFigures:
    """One layer of the bed."""

    name: str
    material: str
    zone: str
    crumbles: bool  # whether its grains break up within a year or two
    settled_m3: float
    settled_error_m3: float
    sacks: int
    sack_m3: float | None
    sack_gaps: float | None  # share of the layer that lies between sacks
    drawn_m3: float
    stays_m3: float
    poured_m3: float
    poured_range_m3: Range  # by its repose and how much it settles
    mass_kg: Range
    slope_deg: float
    repose_deg: Range
    lasting_deg: float
    slides_m3: float
    slides_where: str
    slides_lower_m: float
    heights_m: Mapping[str, float]  # drawn, at the panes, where it reaches them
    ends_m: Mapping[str, tuple[float, float]]  # as it lies, at both ends of a pane or the border
    bags: tuple[BagFigures, ...]
    bags_if_worse: tuple[BagFigures, ...]  # that it takes if it needs more; empty for the same
    worse_settling: float | None  # share of what is poured
    worse_repose_deg: float | None
    cost: float | None
    left_over_m3: float | None


@dataclass(frozen=True, slots=True)
class SpotFigures:
    """The bed at one named place."""

    name: str
    height_m: float  # of its surface above the glass
    depth_m: float  # of substrate below that, down to glass or stone
    root_depth_m: float | None
    lacking_m: float  # how much deeper a plant there would need it


@dataclass(frozen=True, slots=True)
class MarkFigures:
    """A level to drain to for a change of water."""

    change_percent: float
    level_m: float


@dataclass(frozen=True, slots=True)
class WaterFigures:
    """What fills the box below the water line, and water by its uses."""

    box_m3: float
    stone_m3: Range  # envelopes, without pores that water has filled
    wood_m3: Range
    grains_m3: Range  # their envelopes
    between_grains_m3: Range
    free_m3: Range
    parts_over_box: float  # their sum, each part computed on its own way
    dosing_m3: Range  # all water that mixes
    fill_m3: Range  # what it takes to fill the finished tank
    per_cm_m3: float  # just below the line
    marks: tuple[MarkFigures, ...]
    salt_mix_kg: Range | None


@dataclass(frozen=True, slots=True)
class HeaviestFigures:
    """The heaviest piece to lift."""

    name: str
    mass_kg: Range


@dataclass(frozen=True, slots=True)
class LoadFigures:
    """Masses on the stand."""

    glass_kg: float | None  # None where the panes' thickness is not known
    full_without_glass_kg: Range
    full_kg: Range | None
    drained_without_glass_kg: Range  # water down to the bed's surface
    stripped_without_glass_kg: Range  # nothing but the glass and the bed, wet
    cabinet_water_kg: float  # of sump and filter below, on the same floor; in none of the above
    footprint_m: tuple[float, float]
    pressure_pa: Range  # on the floor: full, the glass where it is known, and the cabinet
    heaviest: HeaviestFigures | None


@dataclass(frozen=True, slots=True)
class DrainFigures:
    """What runs from the tank into the sump when the pump stops."""

    volume_m3: float
    spare_m3: float | None  # room in the sump
    overflows: bool


@dataclass(frozen=True, slots=True)
class GapFigures:
    """One gap of the border."""

    left: str
    right: str
    from_left_m: float  # of its middle on the border line
    from_front_m: float
    width_m: float = field(metadata=MILLIMETRES)  # widest opening below the soil line
    retained_m: float  # soil minus front sand
    state: str  # "holds", "may arch" or "runs"
    comes_through_m3: float  # until it rests
    reach_m: float  # of the fan on the sand
    cure: str
    fill_m3: float  # its space up to the soil line, from the glass or what closes it below


@dataclass(frozen=True, slots=True)
class FootingFigures:
    """One border stone against the thrust of the soil."""

    name: str
    thrust_n: float
    sliding_factor: float | None  # resistance over thrust; None where nothing leans on it
    tipping_factor: float | None  # righting over tipping moment


@dataclass(frozen=True, slots=True)
class BorderFigures:
    """The rows of border stones."""

    strip: bool
    gaps: tuple[GapFigures, ...]
    stones: tuple[FootingFigures, ...]
    weakest: str | None  # the stone with the least reserve


@dataclass(frozen=True, slots=True)
class RestFigures:
    """What of a layer comes to rest beyond its border."""

    layer: str
    outside_m3: float
    reach_m: float  # beyond the faces of the stones
    divider_pulled: bool  # a divider held it until it was pulled


@dataclass(frozen=True, slots=True)
class RunFigures:
    """A fine layer that lies on a coarse one and runs into its voids."""

    fine: str
    coarse: str
    filter_ratio: float  # D15 of the coarse one over D85 of the fine one
    most_m3: float  # that the voids could take


@dataclass(frozen=True, slots=True)
class HeaveFigures:
    """A light filler under a cover that is too thin to hold it down while it is dry."""

    filler: str
    cover: str  # empty where nothing lies on it
    lacking_m: float  # further cover that would hold it
    cover_needed_m: float = field(metadata=UNSAID)  # in all
    lift_kg: float = field(metadata=UNSAID)  # of the filler, at the bad end of its range
    press_kg: float = field(metadata=UNSAID)  # of the cover under water


@dataclass(frozen=True, slots=True)
class BalanceFigures:
    """Vertical balance of wood and sinkers."""

    lift_kg: Range = field(metadata=GRAMS)
    density_kg_per_m3: Range | None
    least_sinker_kg: Range = field(metadata=GRAMS)
    sinker_kg: float = field(metadata=GRAMS)
    short_kg: float | None = field(metadata=GRAMS)
    hung_kg: float = field(metadata=GRAMS)
    spare_kg: Range = field(metadata=GRAMS)
    from_tub_test: bool
    heavy_enough: bool


@dataclass(frozen=True, slots=True)
class SinkerFigures:
    """One stone that holds wood down."""

    mass_kg: float = field(metadata=GRAMS)
    material: str
    how: str
    stone: str | None
    at_m: tuple[float, ...] | None
    assumed_at_m: tuple[float, ...] | None  # where the tie is taken to be, as none is given


@dataclass(frozen=True, slots=True)
class OfferFigures:
    """Sinkers that would hold a group."""

    material: str
    masses_kg: tuple[float, ...] = field(metadata=GRAMS)
    places_m: tuple[tuple[float, ...], ...]
    how: tuple[str, ...]
    stones_at_hand: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class StrappingFigures:
    """Stones that hold a group once it is strapped to them."""

    stones: tuple[str, ...]  # of the tank, or the name of the flat one
    material: str = ""  # of a flat stone that is not in the tank yet
    size_m: tuple[float, ...] = ()
    at_m: tuple[float, ...] = ()  # its middle
    rests: str = ""  # what it lies on


@dataclass(frozen=True, slots=True)
class SoakingFigures:
    """How wood takes up water, by a log of weighings."""

    neutral_kg: float  # mass at which it hangs in the water
    saturated_kg: float  # mass that it cannot exceed
    latest_kg: float
    days: Range | None  # after the first weighing until it is neutral; None: no date
    sinks: bool  # whether it was neutral at the last weighing, whatever its volume may be
    set_aside_days: tuple[float, ...] = ()  # of weighings that do not fit the others


@dataclass(frozen=True, slots=True)
class HoldFigures:
    """What holds one group of wood."""

    name: str
    wood: tuple[str, ...]
    balance: BalanceFigures = field(metadata=FLAT)
    verdict: str
    stays: bool
    doubts: tuple[str, ...]
    factor: float
    friction: Range
    sinker_material: str
    moves_at_m: float | None
    may_move_at_m: float | None
    moves_how: str
    moves_about_m: tuple[tuple[float, float], ...]
    drained_moves_at_m: float | None
    drained_moves_how: str
    margin_kg: float | None = field(metadata=GRAMS)
    held_factor: float | None
    still_held_under: bool
    tie_forces_n: tuple[float, ...]
    greatest_tie_forces_n: tuple[float, ...]
    later_burial_kg: float = field(metadata=GRAMS)
    lean_deg: float
    drawn_through_m: float
    carries: tuple[str, ...]
    not_at_rest: tuple[str, ...]
    draught_m: float | None
    afloat_turn: tuple[tuple[float, ...], ...] | None  # rows of a rotation matrix
    soaking: SoakingFigures | None
    sinkers: tuple[SinkerFigures, ...]
    tie_points: str
    offers: tuple[OfferFigures, ...]
    strapping: StrappingFigures | None


@dataclass(frozen=True, slots=True)
class StandingFigures:
    """One stone on its foot, or on others."""

    name: str
    tip_deg: float
    top_push_dry_n: float
    top_push_wet_n: float
    upright: bool
    doubtful: bool
    to_pane_m: float
    lies_on: tuple[str, ...]
    falls_at_m: float | None


@dataclass(frozen=True, slots=True)
class ShoppingFigures:
    """One thing to buy; its amounts and its cost are of all of them together."""

    what: str  # "bag", "loose", "stone", "wood", "lump", "sinker", "tie", "pad", "strip", "fabric"
    name: str  # of its layer, piece, lump or group; empty for what is counted alone
    material: str
    count: int
    mass_kg: Range | None = None
    volume_m3: float | None = None
    length_m: float | None = None
    label: str = field(default="", metadata=UNSAID)  # of a bag, as the user wrote it
    cost: Range | None = None  # None where the file names no price


@dataclass(frozen=True, slots=True)
class CostFigures:
    """What has a price in the file, together."""

    bags: float | None
    pieces: Range | None
    total: Range | None
    without_price: tuple[str, ...]  # name of each thing that has none, or what it is


@dataclass(frozen=True, slots=True)
class WeighedFigures:
    """A stone or a piece of wood by itself."""

    name: str
    material: str
    volume_m3: Range
    mass_kg: Range
    size_m: tuple[float, ...]
    trust: str  # "good", "fair" or "poor"
    why: str
    mended: tuple[str, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BedFigures:
    """The bed alone."""

    name: str
    file: str
    layers: tuple[LayerFigures, ...]
    depths_m: Mapping[str, float]
    spots: tuple[SpotFigures, ...]
    cost: float | None
    findings: tuple[Finding, ...]  # worst first


@dataclass(frozen=True, slots=True)
class Report:
    """Everything that is told of one scape."""

    name: str
    file: str
    tank: TankFigures
    water_density_kg_per_m3: float
    pieces: tuple[PieceFigures, ...]
    lumps: tuple[LumpFigures, ...]
    layers: tuple[LayerFigures, ...]
    depths_m: Mapping[str, float]  # of the bed at front, middle and back
    spots: tuple[SpotFigures, ...]
    water: WaterFigures | None
    load: LoadFigures | None
    border: BorderFigures | None
    rests: tuple[RestFigures, ...]
    runs_into: tuple[RunFigures, ...]
    heaves: tuple[HeaveFigures, ...]
    holds: tuple[HoldFigures, ...]
    standing: tuple[StandingFigures, ...]
    drain_back: DrainFigures | None
    shopping: tuple[ShoppingFigures, ...]
    costs: CostFigures
    findings: tuple[Finding, ...]  # worst first
    guesses: tuple[str, ...] = field(metadata=OPEN)
