"""The substrate: how layers lie, what slides, what holds them, what to buy."""
