"""The bench cars: physics and modules put together. Makes, models, parts and numbers are invented."""
