"""Commands about weather."""
