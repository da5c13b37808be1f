"""Adapters that move frames: any Bus, python-can, the recorder. Acts."""
