"""Hosting of bench cars and the demo; the only importer of bench. Acts."""
