"""What the user wrote: tank, pieces, layers, borders, groups, and the materials they name."""
