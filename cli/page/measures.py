"""Figures as they are typed into the page and as they are written into a scape file."""

from dataclasses import dataclass

from plumbstone.cli.wording.units import INCH, RULED, Units
from plumbstone.meshes.errors import PlumbstoneError
from plumbstone.volumes.scape.quantities import bare_number, parse_quantity

STEPS = {Units.METRIC: 0.005, Units.US: INCH / 4}  # [m]
NAMES = {
    "length": {Units.METRIC: "cm", Units.US: "in"},
    "mass": {Units.METRIC: "kg", Units.US: "lb"},
    "volume": {Units.METRIC: "L", Units.US: "gal"},
}


@dataclass(frozen=True, slots=True)
class Measures:
    """How one reader types and reads figures."""

    units: Units

    @property
    def step(self) -> float:
        """What places snap to [m]."""
        return STEPS[self.units]

    def unit(self, kind: str = "length") -> str:
        """Name the unit that is meant where none is typed."""
        return NAMES[kind][self.units]

    def snapped(self, metres: float) -> float:
        """Give the nearest place on the steps [m]."""
        return round(metres / self.step) * self.step

    def rounded(self, metres: float) -> float:
        """Give the nearest length of whole units [m]."""
        unit = parse_quantity(f"1 {self.unit()}", "length")
        return round(metres / unit) * unit

    def written(self, metres: float) -> str:
        """Write a length [m] as it stands in a scape file, to a hundredth of a millimetre."""
        return self._in_unit(metres, 4 if self.units is Units.US else 3)

    def shown(self, metres: float) -> str:
        """Write a length [m] for a field, to a hundredth of an inch or a tenth of a millimetre."""
        return self._in_unit(metres, 2)

    def shown_mass(self, kilograms: float) -> str:
        """Write a mass for a field, as a scale shows it."""
        unit = self.unit("mass")
        return f"{kilograms / parse_quantity(f'1 {unit}', 'mass'):.4g} {unit}"

    def _in_unit(self, metres: float, digits: int) -> str:
        unit, name = RULED[self.units]
        return f"{round(metres / unit, digits):g} {name}"

    def with_unit(self, text: str, kind: str = "length") -> str:
        """Give what was typed with a unit, a comma read as a point; empty where nothing was."""
        text = text.strip().replace(",", ".")
        if text[-1:].isnumeric() or text[-1:] == ".":
            return f"{text} {self.unit(kind)}"
        return text

    def shown_pane(self, metres: float | None) -> str:
        """Write the thickness of a pane [m], as `pane` takes it; empty where none is known."""
        if metres is None:
            return ""
        return f"{metres * 1e3:g} mm" if self.units is Units.METRIC else self.written(metres)

    def pane(self, text: str) -> str:
        """Give a thickness as typed; panes are told in mm where one counts in centimetres."""
        plain = self.units is Units.METRIC and text.strip()[-1:].isdigit()
        return self.typed(f"{text} mm" if plain else text)

    def typed(self, text: str, kind: str = "length") -> str:
        """Give what was typed as a quantity that can be read.

        Raises
        ------
        PlumbstoneError
            If it is none of that kind.
        """
        found = self.with_unit(text, kind)
        parse_quantity(found, kind)
        return found


def number(text: str, sign: str = "€") -> float | None:
    """Read an amount of money [€, any], or one per kilogram; None where none was typed."""
    if not text.strip():
        return None
    found = bare_number(text, sign)
    if not 0 <= found < 1e9:
        raise PlumbstoneError(f"{text}: write an amount of nothing or more.")
    return found


def degrees(angle: float) -> float | int:
    """Bring an angle [degrees] to more than -180, up to 180; whole ones as whole numbers."""
    found = round(180 - (180 - round(angle, 2)) % 360, 2)
    return int(found) if found == int(found) else found


def angle(text: str) -> float:
    """Read an angle [degrees]."""
    try:
        found = float(text.strip().replace(",", ".").rstrip("° "))
    except ValueError:
        found = float("nan")
    if not abs(found) < 1e4:
        raise PlumbstoneError(f'"{text}" is no angle; write degrees, such as 30.')
    return found
