"""Text to Recipe: the schema, positions, variants, and faults that name the line."""
