"""The one family of errors that a user can put right."""


class PlumbstoneError(Exception):
    """Anything the user can put right; the command line prints it and stops."""
