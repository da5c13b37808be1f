"""Conversations with control modules on a link: many at once, gently, every one ending in time.

May not retry an effect, send one without its receipt, or believe a caller about what is an effect.
"""
