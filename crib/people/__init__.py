"""The people of the shop, their roles and their rights."""
