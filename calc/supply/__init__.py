"""What to buy: changes to expect, tips they take, and when and how much to order."""
