"""What every part uses: records, stages, operations, aims, seasons, units, limits, errors."""
