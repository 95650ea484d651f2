"""Physics of stone, wood, water and substrate; arrays in, numbers out."""
