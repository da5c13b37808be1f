"""The values every other room passes on: small, frozen, documented. Pure: no clock, no I/O."""
