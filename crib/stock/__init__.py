"""Where everything is: places, items and the ledger of moves."""
