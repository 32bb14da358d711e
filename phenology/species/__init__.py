"""The species catalogue: its values with their sources, and the names growers call a tree by."""
