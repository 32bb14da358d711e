"""How services are called: settings, one polite client, and what goes wrong on the way, in words."""
