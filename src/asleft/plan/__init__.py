"""Work items and findings to needs; needs to the best order; why. Pure."""
