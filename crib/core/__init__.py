"""What every slice stands on: errors, the clock, kept answers and wake-ups."""
