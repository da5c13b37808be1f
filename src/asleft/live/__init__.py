"""Sampling of signals through conversations; recordings of values in and out. Acts."""
