"""Option layouts as data: bytes to words, answers to bytes, and what may not be written."""
