"""The journal: append, chain, sign, verify, export. Acts."""
