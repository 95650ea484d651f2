"""The build sheet: one page beside the tank."""
