"""The closed union of events, their versions and codec, and the fold that gives a job's state back. Pure."""
