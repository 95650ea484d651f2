"""How findings about single pieces, places and masses are worded."""

from plumbstone.cli.wording.units import Units, mass_words, show_length, written
from plumbstone.meshes.ranges import Range
from plumbstone.meshes.telling import percent
from plumbstone.volumes.findings import NO_LINE, Finding, Kind
from plumbstone.volumes.water.loads import lift_code

LIFTS = {
    "one person": "heavy for one person: lift it close to the body, or with two people",
    "help": (
        "more than the common screening figure for one fit adult: lift it with help or a hoist; "
        "less for children, older or pregnant people"
    ),
}


def lift_words(mass: Range) -> str:
    """Say how to lift a piece of this mass [kg]; empty where a hand does."""
    return LIFTS.get(lift_code(mass), "")


def misfit(finding: Finding, units: Units) -> str:
    """Say that a piece does not pass or does not fit."""
    if finding.how == "stand":
        short = show_length(finding.number("short_m"), units)
        return (
            f"The tank reaches {short} over its stand; ask its maker and the stand maker what must "
            "lie under its panes."
        )
    name = finding.about[0]
    if finding.how == "opening":
        return f"{name}: does not pass the opening inside the bracing; take a narrower one."
    above = show_length(finding.number("above_m"), units)
    if finding.how == "lamp":
        return f"{name}: reaches {above} above the lamp's lower edge; raise the lamp."
    return f"{name}: stands {above} above the rim."


def buried(finding: Finding, units: Units) -> str:
    """Say that a piece is hardly seen, or pressed down to the glass."""
    name = finding.about[0]
    if finding.how == "to the glass":
        return (
            f"{name}: pressed in by {show_length(finding.number('pressed_m'), units)} it stands "
            "on the glass; set it there on a pad before the soil, or press it in less."
        )
    if finding.how == "on no bed":
        return f'{name}: pressed counts only on the bed: write rests = "bed", or drop it.'
    if finding.how == "wholly":
        return f"{name}: lies wholly under the bed; raise it, or leave it out."
    return f"{name}: {percent(min(finding.number('share'), 0.99))} of it lies under the bed."


def doubtful(finding: Finding, _units: Units) -> str:
    """Pass on what makes a form or a mass doubtful, or that there is no water line."""
    if finding.how == NO_LINE:
        stays = f", and whether {' and '.join(finding.about)} floats" if finding.about else ""
        return (
            "No water line is known, so water, load and what may tip are not computed"
            f"{stays}: write the tank's height, or water_line."
        )
    return f"{finding.about[0]}: {finding.how}"


def short(finding: Finding, units: Units) -> str:
    """Say that a place is not deep enough for its plant."""
    depth, lacking = (finding.number(key) for key in ("depth_m", "lacking_m"))
    if finding.how == "over a piece":
        return (
            f"{finding.about[0]}: lies over a stone or wood, with {show_length(depth, units)} of "
            f"substrate on it; its roots need {show_length(depth + lacking, units)}: plant beside."
        )
    return (
        f"{finding.about[0]}: {show_length(depth, units)} of substrate, its roots need "
        f"{show_length(depth + lacking, units)}; raise it by {show_length(lacking, units)} there."
    )


def over_limit(finding: Finding, units: Units) -> str:
    """Say what is too heavy or too much."""
    if finding.how == "sump":
        keys = ("volume_m3", "spare_m3")
        amount, room = (written(finding.number(key), "volume", units) for key in keys)
        return f"When the pump stops, {amount} drain back; the sump has room for {room}."
    mass = mass_words(finding.range("mass_kg"), units)
    return f"Heaviest lift: {finding.about[0]}, {mass}; {LIFTS[finding.how]}."


WORDED = {
    Kind.MISFIT: misfit,
    Kind.BURIED: buried,
    Kind.DOUBTFUL: doubtful,
    Kind.SHORT: short,
    Kind.OVER_LIMIT: over_limit,
}
