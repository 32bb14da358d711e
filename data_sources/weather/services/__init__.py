"""Weather services: one file each, behind the protocol of `protocol.py`. They only feed the store."""
