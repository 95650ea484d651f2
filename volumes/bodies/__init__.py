"""Stones and wood: form, weight and place."""
