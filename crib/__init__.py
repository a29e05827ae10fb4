"""The crib: one Django app, cut into slices."""
