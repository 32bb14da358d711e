"""The season of work: what may be done to which tree, when it opens, what waiting costs, when to stop."""
