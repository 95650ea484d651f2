"""How the bed, its bags and its border are worded: what to do first."""

from collections.abc import Iterable, Iterator
from dataclasses import replace

from plumbstone.cli.wording.sentences import Worded, filled, one_of
from plumbstone.cli.wording.units import Toward, Units, written
from plumbstone.meshes.telling import percent
from plumbstone.volumes.figures import BagFigures, LayerFigures
from plumbstone.volumes.findings import Finding, Kind, Severity


def layer_sentences(layer: LayerFigures, units: Units) -> Iterator[str]:
    """Count the sacks of a layer, its bags if it needs more, and what is left of them."""
    if layer.sack_m3 is not None:
        size = written(layer.sack_m3, "volume", units)
        yield (
            f"{layer.name}: {layer.sacks} sacks of {size}, with "
            f"{percent(layer.sack_gaps or 0.0)} of gaps between them."
        )
    if layer.bags_if_worse:
        yield if_worse_sentence(layer, units)
    if layer.left_over_m3 is not None:
        left = written(layer.left_over_m3, "volume", units, Toward.DOWN)
        if layer.left_over_m3 < 0.10 * layer.poured_m3:
            yield f"{layer.name}: {left} left over, little for topping up. Take one more, sealed."
        else:
            yield f"{layer.name}: {left} left over; keep it for topping up."


def if_worse_sentence(layer: LayerFigures, units: Units) -> str:
    """Say which bags a layer takes if it needs more: "2 bags; 3 if it settles by 15 %"."""
    assert layer.worse_settling is not None
    usual, worse = layer.bags, layer.bags_if_worse
    if len(usual) == 1 and [replace(usual[0], count=bag.count) for bag in worse] == [*worse]:
        words = [str(sum(bag.count for bag in bags)) for bags in (usual, worse)]
        words[0] += " bags" if words[0] != "1" else " bag"
    else:
        words = [bag_words(bags, units) for bags in (usual, worse)]
    steep = layer.worse_repose_deg
    stands = "" if steep is None else f" and stands at {steep:.0f}°"
    settles = f"if it settles by {percent(layer.worse_settling)}{stands}"
    return f"{layer.name}: {words[0]}; {words[1]} {settles}."


def bag_words(bags: Iterable[BagFigures], units: Units) -> str:
    """List bags: "2 × 3 L"."""
    return ", ".join(f"{bag.count} × {_bag_size(bag, units)}" for bag in bags)


def _bag_size(bag: BagFigures, units: Units) -> str:
    """Write the size of a bag as its label does, as one finds it on the shelf."""
    if bag.label:
        return bag.label
    if bag.holds_kg is not None:
        return written(bag.holds_kg, "bag mass", units)
    assert bag.holds_m3 is not None
    return written(bag.holds_m3, "bag volume", units)


def leaks(finding: Finding, units: Units) -> str:
    """Say what comes through a gap of the border, how far it shows, and how to close it."""
    if finding.how in LEAKS:
        return filled(LEAKS[finding.how], finding, units)
    _, left, right = finding.about
    shows = "{name} shows {reach_m} beyond the stones ({volume_m3})"
    if finding.number("volume_m3") == 0:
        shows = "{name} ends {lowered_m} lower in it; none shows beyond the stones"
    cure = "{cure}, about {fill_m3:volume up} to fill it"
    cure = cure if finding.number("fill_m3") > 0 else "{cure}"
    shows, cures = (filled(words, finding, units) for words in (shows, cure))
    words = f"Gap {{left}} - {{right}}, {{width_m:gap}}: {GAPS.get(finding.how, GAPS[''])}"
    more = {"left": left, "right": right, "shows": shows, "cures": cures}
    return filled(words, finding, units, **more)


LEAKS = {
    "under stones": (
        "{name} runs out under the stones of its border: open {width_m} wide and {height_m} high "
        "around {x_m} from left and {y_m} from front. How much is not known; set a stone into it, "
        "or a hidden strip behind it."
    ),
    "over": (
        "{name}: {volume_m3} of it run over its border, up to {reach_m} far; set higher stones, or "
        "lay it lower there."
    ),
    "divider pulled": (
        "{name}: once the divider is pulled, {volume_m3} run out, up to {reach_m} far. Pull it "
        "slowly, after the sand is in."
    ),
}
GAPS = {
    "falls out": (
        "{where} is too fine to stay in it, which takes grains of {grain_m:gap up}, and then "
        "{shows}; {cure}."
    ),
    "lets through": "{where} is too coarse to hold {name}: {shows}; {cure}.",
    "over filler": (
        "{where} closes it, but not up to the soil; above it {shows}; {cure}, about "
        "{fill_m3:volume up}."
    ),
    "": "{shows}; {cures}.",
    "may arch": "may hold until disturbed, then {shows}; {cures}.",
}


def creeps(finding: Finding, _units: Units) -> str:
    """Say that a bare slope does not last."""
    slope, lasting = finding.number("slope_deg"), finding.number("lasting_deg")
    where = f"from {finding.how}" if finding.how else "on its heaps"
    steep, least = f"{finding.about[0]}: rises by {slope:.0f}° {where}; ", "least_repose_deg"
    if slope > finding.number(least):
        steep += f"it may slide from {finding.number(least):.0f}° on as it is poured; "
    return f"{steep}bare, it lasts at about {lasting:.0f}°: plant it, or build terraces."


def runs_into(finding: Finding, units: Units) -> str:
    """Say that a fine layer runs into a coarse one, and the bags with and without a fabric."""
    bags = ""
    if "bags_with" in finding.numbers:
        few, many = (int(finding.number(key)) for key in ("bags_with", "bags_without"))
        bags = f": {few} bag{'s' if few > 1 else ''} with it, up to {many} without"
    return filled(RUNS[finding.how], finding, units, bags=bags)


RUNS = {
    "borderline": (
        "{name} on {others} is borderline (grain ratio {ratio:.1f}; up to 4 holds, over 5 runs): "
        "up to {most_m3} may run in; a separating fabric between them is surer{bags}."
    ),
    "runs": (
        "{name} runs into {others} (grain ratio {ratio:.1f}; up to 4 holds), up to {most_m3} of "
        "it; lay a separating fabric between them{bags}."
    ),
}


def heaves(finding: Finding, units: Units) -> str:
    """Say that a light filler floats while dry."""
    words = (
        "{name} may float while dry and lift {others} (lifts {lift_kg}, which presses {press_kg}; "
        "1.3 times is asked): soak it first, or cover it {lacking_m:length up} deeper, "
        "{cover_m:length up} in all."
    )
    if len(finding.about) == 1:
        words = "{name}: floats while dry, and nothing lies on it; soak it first, and cover it."
    return filled(words, finding, units)


def weak(finding: Finding, units: Units) -> str:
    """Name a border stone with too little reserve, and its fix."""
    if finding.severity is not Severity.STOP:
        return filled(WEAK[finding.how], finding, units)
    does = "pushes it forward" if finding.how == "slides" else "tips it"
    held = percent(min(finding.number("sliding"), finding.number("tipping")))
    return (
        f"{finding.about[0]}: the soil {does}; it bears {held} of the thrust. Lower the soil, or "
        "set heavier, thicker stones in steps."
    )


WEAK = {
    "strip": (
        "{name}: {retained_m} of it lean on a strip that no stone backs; whether it bears that is "
        "not known: bed its foot in, or set stones before it."
    ),
    "slides": "{name}: the soil may push it forward; set a heavier one, or lower the soil.",
    "tips": "{name}: the soil may tip it; bed its foot in, or lean it back.",
}
OFF_LINE = (
    "{name}: the border line passes {away_m} beside it, so it holds nothing; draw the line over it."
)
SLIDES = {
    "in turn": (
        "{name}: pour it in turn with {others}, some of each at a time: each holds the other."
    ),
    "over wall": (
        "{name}: drawn {drawn_m} high at its border, which holds {wall_m}; above that it lies at "
        "repose from the top ({volume_m3} less). Set higher stones, or a strip of that height."
    ),
    "no wall": (
        "{name}: drawn {drawn_m} high at its border, where nothing stands that holds it "
        "({volume_m3} less); set stones there, or give the strip a height."
    ),
    "crest": (
        "{name}: {where} stays at {stays_m} of the {drawn_m} drawn ({volume_m3} less); draw it "
        "{lacking_m:length up} lower there, or what lies before it so much higher, behind taller "
        "stones or a strip, or set one more border between."
    ),
    "edge": (
        "{name}: {where} ends up to {drop_m} lower than drawn, where its edge or step lies at "
        "repose ({volume_m3} less); to hold it, draw a border through stones there, with a layer "
        "of its own behind it."
    ),
    "sacks": (
        "{name}: {where} ends up to {drop_m} lower than drawn, with its edge at the repose of "
        "loose grains ({volume_m3} less). Sacks laid like bricks may stand steeper: try it dry, "
        "and write that angle as its repose, 60 at most; or set a wall."
    ),
}
BARE = "{area_m2} of the floor stay bare, around {x_m:place} from left and {y_m:place} from front."
OVERLAPS = "{name} and {others} overlap over {area_m2}; there {others} lies on {name}."
VOID = (
    "{name}: {volume_m3} of space under stones stays empty, as it runs in from the sides only; as "
    "you pour, push it in under them by hand."
)
WORDED: dict[Kind, Worded] = {
    Kind.LEAKS: leaks,
    Kind.OFF_LINE: one_of({"": OFF_LINE}),
    Kind.SLIDES: one_of(SLIDES),
    Kind.CREEPS: creeps,
    Kind.RUNS_INTO: runs_into,
    Kind.HEAVES: heaves,
    Kind.WEAK: weak,
    Kind.BARE: one_of({"": BARE}),
    Kind.OVERLAPS: one_of({"": OVERLAPS}),
    Kind.VOID: one_of({"": VOID}),
}
