"""Adapters that move frames between a bus and the rooms above: in-loop buses, python-can interfaces, a recorder.

May not decode what it carries, retry it or change it. Every link says itself where its frames come from.
"""
