"""Shapes without physics: reading, mending and placing closed triangle meshes."""
