"""What a person reads or touches: commands, tables, charts, pages."""
