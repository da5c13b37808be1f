"""Conversations on a link: never retries an effect, knows an effect by its bytes. Acts."""
