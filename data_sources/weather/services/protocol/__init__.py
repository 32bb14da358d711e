"""What every weather service takes and gives, and the checks that its answers pass."""
