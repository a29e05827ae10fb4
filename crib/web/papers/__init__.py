"""Papers: PDF made by typst from a sheet of our own and figures handed to it as data."""
