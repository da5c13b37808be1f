"""Option layouts, their differences and transfer. Pure. Empty until the coding package."""
