"""Weather services behind one protocol, by name in `registry.py`. They only feed the store."""
