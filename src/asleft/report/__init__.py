"""Events to the printable report. Pure but for the typesetter."""
