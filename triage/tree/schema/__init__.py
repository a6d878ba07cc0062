"""JSON Schemas of the content files: what an editor completes, explains and checks while typing."""
