"""The life of a cutting edge: Taylor's law, censored lives, what is left, when to change, what it costs."""
