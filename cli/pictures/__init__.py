"""Drawings and scenes."""
