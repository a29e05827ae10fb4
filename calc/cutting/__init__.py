"""Cutting conditions, forces, chips, chamfers and threads: plain formulas over quantities, each with its source."""
