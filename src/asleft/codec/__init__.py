"""Bytes to messages and back: ISO-TP as a machine without I/O, OBD, UDS, trouble codes, refusals. Pure."""
