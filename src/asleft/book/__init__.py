"""Functions and procedures: model, loader, lint, sources. Reads files only."""
