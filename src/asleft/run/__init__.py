"""The only interpreter of steps: gates, interlocks, intents, recovery. Acts through ports."""
