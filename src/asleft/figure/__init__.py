"""SVG of strips, number lines and plan tracks. Pure."""
