"""Simulated cars: physics, modules, buses, hosts; independent of our own codec. Acts."""
