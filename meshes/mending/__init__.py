"""Welding, winding, thinning and uncrossing of meshes."""
