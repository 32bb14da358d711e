"""Tables of looks, work and trees, read from files and written to them."""
