"""Water: its density, what it is displaced by, how much there is, what all weighs."""
