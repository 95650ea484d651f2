"""Shapes without physics: reading, mending and placing closed triangle meshes."""

from plumbstone.meshes.folders import set_library_caches

set_library_caches()  # before any of them is loaded
