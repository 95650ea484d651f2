"""Files of scans: formats, headers, units, and things of known size in view."""
