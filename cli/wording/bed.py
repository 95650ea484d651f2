"""How the bed, its bags and its border are worded: what to do first."""

from collections.abc import Iterable, Iterator
from dataclasses import replace

from plumbstone.cli.wording.units import INCH, Toward, Units, show_length, written
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
    if [replace(bag, count=0) for bag in usual] == [replace(bag, count=0) for bag in worse]:
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
    name = finding.about[0]
    if finding.how == "under stones":
        width, height, x, y = (
            _length(finding, f"{key}_m", units) for key in ("width", "height", "x", "y")
        )
        return (
            f"{name} runs out under the stones of its border: open {width} wide and {height} high "
            f"around {x} from left and {y} from front. How much is not known; set a stone into it, "
            "or a hidden strip behind it."
        )
    volume, reach = _volume(finding, "volume_m3", units), _length(finding, "reach_m", units)
    if finding.how == "divider pulled":
        return (
            f"{name}: once the divider is pulled, {volume} run out, up to {reach} far. Pull it "
            "slowly, after the sand is in."
        )
    width = written(finding.number("width_m"), "gap", units)
    fill = written(finding.number("fill_m3"), "volume", units, Toward.UP)
    where = f"Gap {finding.about[1]} - {finding.about[2]}, {width}"
    shows = f"{name} shows {reach} beyond the stones ({volume})"
    if finding.number("volume_m3") == 0:
        lowered = _length(finding, "lowered_m", units)
        shows = f"{name} ends {lowered} lower in it; none shows beyond the stones"
    if finding.how == "falls out":
        grain = written(finding.number("grain_m"), "gap", units, Toward.UP)
        return (
            f"{where}: {finding.where} is too fine to stay in it, which takes grains of {grain}, "
            f"and then {shows}; {finding.cure}."
        )
    if finding.how == "lets through":
        return f"{where}: {finding.where} is too coarse to hold {name}: {shows}; {finding.cure}."
    if finding.how == "over filler":
        return (
            f"{where}: {finding.where} closes it, but not up to the soil; above it {shows}; "
            f"{finding.cure}, about {fill}."
        )
    filled = finding.number("fill_m3") > 0
    cure = f"{finding.cure}, about {fill} to fill it" if filled else finding.cure
    if finding.how == "may arch":
        return f"{where}: may hold until disturbed, then {shows}; {cure}."
    return f"{where}: {shows}; {cure}."


def off_line(finding: Finding, units: Units) -> str:
    """Say that a border line misses a stone."""
    away = _length(finding, "away_m", units)
    return (
        f"{finding.about[0]}: the border line passes {away} beside it, so it holds nothing; draw "
        "the line over it."
    )


def slides(finding: Finding, units: Units) -> str:
    """Say where a layer cannot stay as drawn, and what would hold it."""
    name = finding.about[0]
    if finding.how in ("over wall", "no wall"):
        drawn, wall = _length(finding, "drawn_m", units), _length(finding, "wall_m", units)
        less = _volume(finding, "volume_m3", units)
        if finding.how == "no wall":
            return (
                f"{name}: drawn {drawn} high at its border, where nothing stands that holds it "
                f"({less} less); set stones there, or give the strip a height."
            )
        return (
            f"{name}: drawn {drawn} high at its border, which holds {wall}; above that it lies at "
            f"repose from the top ({less} less). Set higher stones, or a strip of that height."
        )
    volume = _volume(finding, "volume_m3", units)
    if finding.how == "crest":
        stays, drawn = (_length(finding, f"{key}_m", units) for key in ("stays", "drawn"))
        run = _needed(finding, "run_m", units)
        return (
            f"{name}: {finding.where} stays at {stays} of the {drawn} drawn ({volume} less); it "
            f"needs {run} more of run, a wall or a terrace."
        )
    lower = _length(finding, "drop_m", units)
    return (
        f"{name}: {finding.where} ends up to {lower} lower than drawn, where its edge or step lies "
        f"at repose ({volume} less); a wall would hold it."
    )


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
    fine, coarse = finding.about
    ratio, most = finding.number("ratio"), _volume(finding, "most_m3", units)
    bags = ""
    if "bags_with" in finding.numbers:
        few, many = (int(finding.number(key)) for key in ("bags_with", "bags_without"))
        bags = f": {few} bag{'s' if few > 1 else ''} with it, up to {many} without"
    if finding.how == "borderline":
        return (
            f"{fine} on {coarse} is borderline (grain ratio {ratio:.1f}; up to 4 holds, over 5 "
            f"runs): up to {most} may run in; a separating fabric between them is surer{bags}."
        )
    return (
        f"{fine} runs into {coarse} (grain ratio {ratio:.1f}; up to 4 holds), up to {most} of it; "
        f"lay a separating fabric between them{bags}."
    )


def heaves(finding: Finding, units: Units) -> str:
    """Say that a light filler floats while dry."""
    lift, press = (written(finding.number(f"{k}_kg"), "mass", units) for k in ("lift", "press"))
    filler, *cover = finding.about
    if not cover:
        return f"{filler}: floats while dry, and nothing lies on it; soak it first, and cover it."
    lacking, needed = (_needed(finding, key, units) for key in ("lacking_m", "cover_m"))
    return (
        f"{filler} may float while dry and lift {cover[0]} (lifts {lift}, which presses {press}; "
        f"1.3 times is asked): soak it first, or cover it {lacking} deeper, {needed} in all."
    )


def weak(finding: Finding, units: Units) -> str:
    """Name a border stone with too little reserve, and its fix."""
    name = finding.about[0]
    if finding.how == "strip":
        return (
            f"{name}: {_length(finding, 'retained_m', units)} of it lean on a strip that no stone "
            "backs; whether it bears that is not known: bed its foot in, or set stones before it."
        )
    if finding.severity is Severity.STOP:
        does = "pushes it forward" if finding.how == "slides" else "tips it"
        held = percent(min(finding.number("sliding"), finding.number("tipping")))
        return (
            f"{name}: the soil {does}; it bears {held} of the thrust. Lower the soil, or set "
            "heavier, thicker stones in steps."
        )
    if finding.how == "slides":
        return f"{name}: the soil may push it forward; set a heavier one, or lower the soil."
    return f"{name}: the soil may tip it; bed its foot in, or lean it back."


def bare(finding: Finding, units: Units) -> str:
    """Say that floor stays bare."""
    x, y = (written(finding.number(key), "place", units) for key in ("x_m", "y_m"))
    area = _area(finding.number("area_m2"), units)
    return f"{area} of the floor stay bare, around {x} from left and {y} from front."


def overlaps(finding: Finding, units: Units) -> str:
    """Say that two zones are drawn over each other."""
    one, other = finding.about
    area = _area(finding.number("area_m2"), units)
    return f"{one} and {other} overlap over {area}; there {other} lies on {one}."


def void(finding: Finding, units: Units) -> str:
    """Say that space under stones stays empty."""
    return (
        f"{finding.about[0]}: {_volume(finding, 'volume_m3', units)} of space under stones stays "
        "empty, as it runs in from the sides only; as you pour, push it in under them by hand."
    )


WORDED = {
    Kind.LEAKS: leaks,
    Kind.OFF_LINE: off_line,
    Kind.SLIDES: slides,
    Kind.CREEPS: creeps,
    Kind.RUNS_INTO: runs_into,
    Kind.HEAVES: heaves,
    Kind.WEAK: weak,
    Kind.BARE: bare,
    Kind.OVERLAPS: overlaps,
    Kind.VOID: void,
}


def _length(finding: Finding, key: str, units: Units) -> str:
    return show_length(finding.number(key), units)


def _needed(finding: Finding, key: str, units: Units) -> str:
    return written(finding.number(key), "length", units, Toward.UP)


def _volume(finding: Finding, key: str, units: Units) -> str:
    return written(finding.number(key), "volume", units)


def _area(area: float, units: Units) -> str:
    """Write an area of the floor."""
    return f"{area / INCH**2:.0f} in²" if units is Units.US else f"{area * 1e4:.0f} cm²"
