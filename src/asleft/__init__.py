"""asleft: from the work done on a car to a proven, signed return to service."""

__version__ = "0.1.0.dev0"
