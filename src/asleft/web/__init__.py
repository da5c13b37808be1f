"""The page, served from the journal. Acts."""
