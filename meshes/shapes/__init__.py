"""Simple solids, limbs, and placing them."""
