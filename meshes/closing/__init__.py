"""From an open scan to a closed body: table, underside, clouds, what is attached."""
